// What waits on this phone, as the page shows it.
import { counted, word } from "./words.js";

function fromTemplate(id) {
  return document.getElementById(id).content.cloneNode(true).firstElementChild;
}

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
      item.querySelector(".state").textContent = share < 1 ? word("sending-share", { share: Math.round(share * 100) }) : word("sent");
    }
  }

  // A file that never got into the outbox.
  refuse(name, why) {
    const item = this.#blank(name);
    item.dataset.unsaved = "";
    if (why === "too-large") {
      item.append(fromTemplate("too-large"));
    } else {
      item.append(this.#trouble(word("not-kept"), word("not-kept-hint")));
    }
    const actions = fromTemplate("actions");
    actions.querySelector(".again").remove();
    actions.querySelector(".discard").addEventListener("click", () => item.remove());
    item.append(actions);
    this.list.prepend(item);
  }

  #words(waiting, refused, lasting, note) {
    if (!waiting) {
      return word(refused ? "none-waits-some-refused" : "none-waits");
    }
    const sentences = [counted("wait", waiting), note ? word(`note-${note}`) : "", lasting ? "" : word("not-lasting")];
    return sentences.filter(Boolean).join(" ");
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
    item.querySelector(".state").textContent = word("waits");
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
