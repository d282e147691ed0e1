// A strip that runs in as the class's clock says: pieces are added as they are shown.
import { GrowingStrip } from "../live/growing-strip.js";

const MIDNIGHT = new Date(2000, 0, 1).toISOString();

export class RunningStrip {
  constructor(root) {
    this.root = root;
    this.reset();
  }

  reset() {
    const canvas = this.root.querySelector("canvas");
    const fresh = canvas.cloneNode(false);
    canvas.replaceWith(fresh);
    this.strip = new GrowingStrip(this.root, MIDNIGHT);
    this.shown = 0;
  }

  /** channels: [{ kind, rate_hz, samples }], all that may be shown. */
  load(channels) {
    this.channels = channels;
  }

  showTo(seconds) {
    if (!this.channels || seconds <= this.shown + 0.1) return;
    const pieces = this.channels.map(({ kind, rate_hz, samples }) => {
      const first = Math.floor(this.shown * rate_hz);
      return { kind, rate_hz, fetus: 1, first, samples: samples.subarray(first, Math.floor(seconds * rate_hz)) };
    }).filter((one) => one.samples.length);
    this.shown = seconds;
    if (pieces.length) this.strip.add(pieces);
  }
}

/** The moment that is shown now, reckoned from when the state came. */
export class ClassClock {
  set(strip) {
    this.strip = strip;
    this.at = performance.now();
  }

  now() {
    if (!this.strip) return 0;
    const ran = this.strip.runs ? ((performance.now() - this.at) / 1000) * this.strip.speed : 0;
    return Math.min(this.strip.ends_s, this.strip.shown_s + ran);
  }
}
