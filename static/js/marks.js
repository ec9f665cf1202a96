// Makes the marks on a strip's picture movable along the strip: arrow keys, and dragging. Tells where one came to rest.
import { word } from "./words.js";

const STEP_MM = 0.1;
const LARGE_STEP_MM = 1;
const REST_MS = 700; // several key presses are one correction
const DIRECTIONS = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1 };

class Mark {
  constructor(element, length, onRest) {
    this.element = element;
    this.length = length;
    this.onRest = onRest;
    this.drawn = Number(element.dataset.s);
    this.start = this.drawn;
    this.at = this.start;
    this.timer = null;
    this.held = false;
    this.#describe();
    element.addEventListener("keydown", (event) => this.#key(event));
    element.addEventListener("pointerdown", (event) => this.#grab(event));
    element.addEventListener("blur", () => this.#settle());
  }

  #describe() {
    const { element } = this;
    element.classList.add("movable");
    element.setAttribute("tabindex", "0");
    element.setAttribute("role", "slider");
    element.setAttribute("aria-orientation", "vertical");
    element.setAttribute("aria-label", word("mark", { title: element.dataset.title }));
    element.setAttribute("aria-valuemin", "0");
    element.setAttribute("aria-valuemax", this.length.toFixed(1));
    this.#tell();
  }

  #tell() {
    this.element.setAttribute("aria-valuenow", this.at.toFixed(1));
    this.element.setAttribute("aria-valuetext", `${this.at.toFixed(1)} mm`);
  }

  #go(to) {
    this.at = Math.min(Math.max(to, 0), this.length);
    this.element.setAttribute("transform", `translate(0 ${(this.drawn - this.at).toFixed(2)})`);
    this.#tell();
  }

  #key(event) {
    const direction = DIRECTIONS[event.key];
    if (!direction || event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    event.preventDefault();
    this.#go(this.at + direction * (event.shiftKey ? LARGE_STEP_MM : STEP_MM));
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#settle(), REST_MS);
  }

  get moving() {
    return this.held || this.timer !== null;
  }

  // Once: what has come to rest here is told, and the page is made anew.
  #settle() {
    clearTimeout(this.timer);
    this.timer = null;
    if (Math.abs(this.at - this.start) >= 0.005 && this.element.isConnected) {
      this.onRest(this.element, this.at);
      this.start = this.at;
    }
  }

  #grab(event) {
    if (event.button !== 0) {
      return;
    }
    event.preventDefault();
    this.element.focus({ preventScroll: true });
    this.element.setPointerCapture(event.pointerId);
    this.element.classList.add("moving");
    this.held = true;
    const picture = this.element.ownerSVGElement;
    const perPixel = picture.viewBox.baseVal.height / picture.getBoundingClientRect().height;
    const from = { y: event.clientY, at: this.at };
    const drag = (moved) => this.#go(from.at + (from.y - moved.clientY) * perPixel);
    const drop = () => {
      this.held = false;
      this.element.classList.remove("moving");
      this.element.removeEventListener("pointermove", drag);
      this.#settle();
    };
    this.element.addEventListener("pointermove", drag);
    this.element.addEventListener("pointerup", drop, { once: true });
    this.element.addEventListener("pointercancel", drop, { once: true });
  }
}

// The marks, each of which tells whether it is `moving`.
export function makeMovable(picture, onRest) {
  const length = Number(picture.dataset.length);
  picture.setAttribute("role", "group");
  return [...picture.querySelectorAll(".mark")].map((element) => new Mark(element, length, onRest));
}
