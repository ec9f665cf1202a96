// The list of photos that have arrived: asked for again while something is unfinished.
import { localTimes } from "./times.js";

const UNFINISHED_MS = 1200;
const QUIET_MS = 20000;

export class SentList {
  constructor(element, address, header) {
    this.element = element;
    this.address = address;
    this.header = header;
    this.timer = null;
    this.last = "";
    this.round = 0;
    localTimes(element);
  }

  follow() {
    clearTimeout(this.timer);
    const list = this.element.querySelector("[data-unfinished]");
    const soon = list && list.dataset.unfinished !== "0";
    this.timer = setTimeout(() => this.refresh(), soon ? UNFINISHED_MS : QUIET_MS);
  }

  async refresh() {
    clearTimeout(this.timer);
    this.round += 1;
    const mine = this.round;
    if (!document.hidden && navigator.onLine) {
      try {
        const answer = await fetch(this.address, { headers: { [this.header]: "photos" } });
        const html = await answer.text();
        if (answer.ok && mine === this.round) { // an older answer that comes later would take photos away again
          this.#put(html);
        }
      } catch {
        // No connection: the outbox says so already.
      }
    }
    this.follow();
  }

  #put(html) {
    if (html === this.last) {
      return;
    }
    this.last = html;
    const list = new DOMParser().parseFromString(html, "text/html").querySelector("[data-unfinished]");
    if (list) {
      const focused = document.activeElement && document.activeElement.getAttribute("href");
      this.element.replaceChildren(document.adoptNode(list));
      localTimes(this.element);
      if (focused) {
        this.element.querySelector(`a[href="${CSS.escape(focused)}"]`)?.focus();
      }
    }
  }
}
