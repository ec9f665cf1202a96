// The live view: small frames go to the tool, which answers with the card's outline and one hint; the picture itself is
// taken at full resolution and goes into the outbox like any other. Only in a secure context: elsewhere browsers give no camera.
import { Frames } from "./frames.js";
import { sharpPicture } from "./picture.js";
import { known, word } from "./words.js";

const CAMERA = { audio: false, video: { facingMode: { ideal: "environment" }, width: { ideal: 4096 }, height: { ideal: 3072 } } };
const CALM_MS = 700;

class LiveView {
  constructor(take) {
    this.take = take;
    this.panel = document.getElementById("live");
    this.video = this.panel.querySelector("video");
    this.status = this.panel.querySelector(".live-hint");
    this.offer = document.getElementById("live-open");
    this.trouble = document.getElementById("live-trouble");
    this.frames = new Frames(this.video, this.panel.dataset, (seen) => this.#show(seen));
    this.stream = null;
    this.calm = 0;
    this.offer.addEventListener("click", () => this.open());
    document.getElementById("live-close").addEventListener("click", () => this.close(true));
    document.getElementById("live-take").addEventListener("click", () => this.#take());
    this.panel.addEventListener("keydown", (event) => { if (event.key === "Escape") { this.close(true); } });
    document.addEventListener("visibilitychange", () => { if (document.hidden) { this.close(false); } });
    window.addEventListener("pagehide", () => this.close(false));
  }

  async open() {
    if (this.stream || this.opening) {
      return;
    }
    this.opening = true;
    this.trouble.textContent = "";
    this.panel.hidden = false;
    this.#say(words("starting"));
    try {
      this.stream = await navigator.mediaDevices.getUserMedia(CAMERA);
      this.stream.getVideoTracks()[0].addEventListener("ended", () => this.#fail("lost"));
      this.video.srcObject = this.stream;
      await this.video.play();
    } catch (error) {
      this.#fail(error.name);
      return;
    } finally {
      this.opening = false;
    }
    // Closed, or out of sight, while the browser was still asking: then nobody must be filmed.
    if (document.hidden || this.panel.hidden) {
      this.close(false);
      return;
    }
    this.#say(words("looking"));
    document.getElementById("live-take").focus();
    this.panel.scrollIntoView({ block: "nearest" });
    this.frames.start();
  }

  close(byHand) {
    this.frames.stop();
    (this.stream ? this.stream.getTracks() : []).forEach((track) => track.stop());
    this.stream = null;
    this.video.srcObject = null;
    this.panel.hidden = true;
    this.#outline(null);
    if (byHand) {
      this.offer.focus();
    }
  }

  #fail(why) {
    if (!this.stream && this.panel.hidden) {
      return;
    }
    this.close(true);
    this.trouble.textContent = words(why);
  }

  async #take() {
    const button = document.getElementById("live-take");
    if (!this.stream || button.disabled) {
      return;
    }
    button.disabled = true;
    this.frames.stop();
    this.#say(words("taking"));
    try {
      await this.take(await sharpPicture(this.stream, this.video));
      this.close(true);
    } catch {
      this.#fail("failed");
    } finally {
      button.disabled = false;
    }
  }

  // What a frame showed, or null where no answer came.
  #show(seen) {
    if (!this.stream) {
      return;
    }
    this.#outline(seen);
    const good = Boolean(seen) && seen.hint === "good" && !seen.moved;
    this.panel.classList.toggle("good", good);
    const said = !seen ? words("offline") : seen.hint === "good" && seen.moved ? words("still") : seen.words;
    // Hints that flicker cannot be read, nor heard.
    if (said !== this.status.textContent && performance.now() - this.calm > CALM_MS) {
      this.#say(said);
    }
  }

  #say(text) {
    this.calm = performance.now();
    this.status.textContent = text;
  }

  #outline(seen) {
    const svg = this.panel.querySelector("svg");
    const points = seen && seen.outline ? seen.outline.map((point) => point.join(",")).join(" ") : "";
    if (seen) {
      svg.setAttribute("viewBox", `0 0 ${seen.size[0]} ${seen.size[1]}`);
    }
    svg.querySelectorAll("polygon").forEach((line) => line.setAttribute("points", points));
  }
}

function words(name) {
  return word(known(`live-${name}`) ? `live-${name}` : "live-failed");
}

export function offerLiveView(take) {
  if (!window.isSecureContext || !navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) {
    return;
  }
  new LiveView(take);
  document.querySelector(".live-offer").hidden = false;
}
