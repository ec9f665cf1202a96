// One photo on its way: its place in the page, from the first byte to its result.
import { word } from "./words.js";

function fromTemplate(id) {
  return document.getElementById(id).content.cloneNode(true);
}

export class Job {
  constructor(name, fields) {
    this.name = name;
    this.fields = fields;
    this.summary = "";
    this.element = fromTemplate("job").firstElementChild;
    this.element.querySelector("h2").textContent = name;
    this.#state(word("waiting"));
  }

  // Returns what to call with the share sent, 0 to 1, and when all is sent.
  start(onMeasuring) {
    this.#restore();
    this.#state(word("sending"));
    const bar = this.element.querySelector("progress");
    const onProgress = (share) => {
      bar.value = share;
      this.#state(word("sending-share", { share: Math.round(share * 100) }));
    };
    const onSent = () => {
      bar.removeAttribute("value");
      bar.setAttribute("aria-label", word("measuring"));
      this.#state(word("measuring"));
      onMeasuring();
    };
    return { onProgress, onSent };
  }

  // Puts the server's part of a page in place of this one; `again` is what its button does where the server declined.
  finish(html, again) {
    const part = new DOMParser().parseFromString(html, "text/html");
    const article = part.querySelector("article");
    if (article) {
      this.summary = article.dataset.summary;
      const ours = document.adoptNode(article);
      this.element.replaceWith(ours);
      this.element = ours;
    } else if (part.querySelector(".trouble")) {
      this.#trouble(part.querySelector(".trouble"), again);
    } else {
      this.fail("lost", again); // whatever answered, it was not our server
    }
  }

  // Shows the trouble that the template of that id holds.
  fail(template, again) {
    this.#trouble(fromTemplate(template).querySelector(".trouble"), again);
  }

  show() {
    this.element.scrollIntoView({ block: "start" });
  }

  #trouble(words, again) {
    this.element.replaceChildren(this.element.querySelector("h2"), words);
    this.element.classList.remove("job");
    if (again) {
      const button = fromTemplate("again");
      button.querySelector("button").addEventListener("click", again);
      this.element.append(button);
    }
    this.summary = `${this.name}: ${words.textContent.trim()}`;
  }

  // Back to a bar and a line of words, where a failed try has replaced them.
  #restore() {
    if (!this.element.querySelector("progress")) {
      const fresh = fromTemplate("job").firstElementChild;
      fresh.querySelector("h2").textContent = this.name;
      this.element.replaceChildren(...fresh.childNodes);
      this.element.classList.add("job");
    }
  }

  #state(words) {
    this.element.querySelector(".state").textContent = words;
  }
}
