// Small frames of a video, sent one at a time; slower where the tool is busy.
const BRISK_MS = 300;
const SLOWEST_MS = 3000;
const PATIENCE_MS = 5000;
const QUALITY = 0.7;
const MOVED = 0.02;

export class Frames {
  // `about` holds the address and the longest side of a frame; `onSeen` gets each answer, or null where none came.
  constructor(video, about, onSeen) {
    this.video = video;
    this.about = about;
    this.onSeen = onSeen;
    this.canvas = document.createElement("canvas");
    this.round = 0;
  }

  start() {
    this.round += 1;
    this.pause = BRISK_MS;
    this.last = null;
    this.#next(this.round);
  }

  stop() {
    this.round += 1;
  }

  async #next(round) {
    while (round === this.round) {
      const seen = await this.#look();
      if (round !== this.round) {
        return;
      }
      if (seen !== undefined) {
        this.onSeen(seen);
      }
      await new Promise((resolve) => setTimeout(resolve, this.pause));
    }
  }

  // The answer; null where the tool is not reached; undefined where it has no time just now, or there is no frame yet.
  async #look() {
    const frame = await this.#frame();
    if (!frame) {
      return undefined;
    }
    let answer;
    try {
      answer = await fetch(this.about.glance, {
        method: "POST",
        body: frame,
        headers: { Accept: "application/json" },
        // An answer that comes so late is about another picture. Older browsers wait.
        signal: AbortSignal.timeout ? AbortSignal.timeout(PATIENCE_MS) : undefined,
      });
    } catch {
      this.#slower();
      return null;
    }
    if (!answer.ok) {
      this.#slower();
      return answer.status === 503 || answer.status === 429 ? undefined : null;
    }
    this.pause = BRISK_MS;
    const seen = await answer.json();
    seen.moved = this.#moved(seen.outline, seen.size);
    this.last = seen.outline;
    return seen;
  }

  #slower() {
    this.pause = Math.min(2 * this.pause, SLOWEST_MS);
  }

  // Whether the card moved in the picture since the last frame.
  #moved(outline, size) {
    if (!outline || !this.last) {
      return true;
    }
    const far = outline.map((point, n) => Math.hypot(point[0] - this.last[n][0], point[1] - this.last[n][1]));
    return Math.max(...far) > MOVED * Math.max(...size);
  }

  #frame() {
    const { videoWidth: width, videoHeight: height } = this.video;
    if (!width) {
      return null;
    }
    const scale = Math.min(1, Number(this.about.side) / Math.max(width, height));
    this.canvas.width = Math.floor(width * scale);
    this.canvas.height = Math.floor(height * scale);
    this.canvas.getContext("2d").drawImage(this.video, 0, 0, this.canvas.width, this.canvas.height);
    return new Promise((resolve) => this.canvas.toBlob(resolve, "image/jpeg", QUALITY));
  }
}
