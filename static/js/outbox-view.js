// What waits on this phone, as the page shows it.

function fromTemplate(id) {
  return document.getElementById(id).content.cloneNode(true).firstElementChild;
}

const NOTES = {
  sending: " Sending…",
  lost: " No connection: they are sent as soon as there is one. Keep this page or come back to it.",
  "not-joined": " This phone is no longer joined: join again with the code, then they are sent.",
};

export class OutboxView {
  constructor(list, status) {
    this.list = list;
    this.status = status;
    this.onAgain = () => {};
    this.onDiscard = () => {};
  }

  show(photos, lasting, note) {
    const waiting = photos.filter((photo) => !photo.trouble);
    this.#say(this.#words(waiting.length, photos.length - waiting.length, lasting, note));
    const kept = [...this.list.querySelectorAll("[data-unsaved]")];
    this.list.replaceChildren(...kept, ...photos.map((photo) => this.#item(photo)));
  }

  progress(id, share) {
    const item = this.list.querySelector(`[data-id="${id}"]`);
    if (item) {
      item.querySelector("progress").value = share;
      item.querySelector(".state").textContent = share < 1 ? `Sending: ${Math.round(share * 100)} %` : "Sent, waiting for the answer";
    }
  }

  // A file that never got into the outbox.
  refuse(name, why) {
    const item = this.#blank(name);
    item.dataset.unsaved = "";
    if (why === "too-large") {
      item.append(fromTemplate("too-large"));
    } else {
      item.append(this.#trouble("This phone could not keep the photo.", "Free some space on the phone, then choose it again."));
    }
    const actions = fromTemplate("actions");
    actions.querySelector(".again").remove();
    actions.querySelector(".discard").addEventListener("click", () => item.remove());
    item.append(actions);
    this.list.prepend(item);
  }

  #words(waiting, refused, lasting, note) {
    if (!waiting) {
      return refused ? "No photo waits; see below what could not be sent." : "No photo waits on this phone.";
    }
    const count = waiting === 1 ? "1 photo waits on this phone." : `${waiting} photos wait on this phone.`;
    const warning = lasting ? "" : " This browser keeps nothing: leave this page open until all are sent.";
    return count + (NOTES[note] || "") + warning;
  }

  #say(words) {
    if (this.status.textContent !== words) {
      this.status.textContent = words;
    }
  }

  #blank(name) {
    const item = fromTemplate("item");
    item.querySelector(".name").textContent = name;
    item.querySelector(".state").remove();
    item.querySelector("progress").remove();
    return item;
  }

  #trouble(message, hint) {
    const box = fromTemplate("refused");
    box.querySelector("strong").textContent = message;
    box.querySelector("p:last-child").textContent = hint;
    return box;
  }

  #item(photo) {
    if (photo.trouble) {
      return this.#refused(photo);
    }
    const item = fromTemplate("item");
    item.dataset.id = photo.id;
    item.querySelector(".name").textContent = photo.name;
    item.querySelector(".state").textContent = "Waits on this phone";
    return item;
  }

  #refused(photo) {
    const item = this.#blank(photo.name);
    item.dataset.id = photo.id;
    item.append(this.#trouble(photo.trouble.message, photo.trouble.hint));
    const actions = fromTemplate("actions");
    actions.querySelector(".again").addEventListener("click", () => this.onAgain(photo.id));
    actions.querySelector(".discard").addEventListener("click", () => this.onDiscard(photo.id));
    item.append(actions);
    return item;
  }
}
