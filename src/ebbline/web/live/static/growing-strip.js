// A strip that grows at paper speed: the drawing is the reading's own, the samples come in pieces.
import * as draw from "../strip/draw.js";
import { Clock, bpmPerCm, pixelsPerCm } from "../strip/paper.js";
import { Pyramid } from "../strip/pyramid.js";

/** Under this width (px) the names beside the lanes are short. */
const NARROW = 520;
const RANGE = [50, 210];
const KINDS = { "fetal heart rate": "heart", "uterine activity": "uterine", "maternal heart rate": "maternal" };
const GUTTER = 100;

export class GrowingStrip {
  constructor(root, startIso) {
    this.root = root;
    this.canvas = root.querySelector("canvas");
    this.start = startIso;
    this.speed = 1;
    this.follow = true;
    this.end = 0;
    this.right = 0;
    this.channels = new Map();
    this.items = [];
    this.curve = null;
    /** @type {(() => void) | null} told when another stretch is shown */
    this.onview = null;
    new ResizeObserver(() => this.paint()).observe(root);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.paint());
    let drag = null;
    this.canvas.addEventListener("pointerdown", (event) => {
      drag = { x: event.clientX, right: this.right };
      this.canvas.setPointerCapture(event.pointerId);
    });
    this.canvas.addEventListener("pointermove", (event) => {
      if (drag) this.look(drag.right - (event.clientX - drag.x) * this.spp);
    });
    for (const over of ["pointerup", "pointercancel"]) this.canvas.addEventListener(over, () => { drag = null; });
    this.canvas.addEventListener("keydown", (event) => {
      if (event.key === "ArrowLeft") this.move(-0.25);
      else if (event.key === "ArrowRight") this.move(0.25);
      else if (event.key === "End") this.followOn();
      else return;
      event.preventDefault();
    });
  }

  get spp() {
    return 60 / (this.speed * pixelsPerCm());
  }

  get wide() {
    return Math.max(100, this.root.clientWidth - GUTTER * this.unit());
  }

  unit() {
    return parseFloat(getComputedStyle(document.documentElement).fontSize) / 17;
  }

  /** Pieces as the workbench gives them: first counts samples from the labour's start. */
  add(pieces) {
    for (const piece of pieces) {
      const key = `${piece.kind} ${piece.fetus}`;
      const last = piece.first + piece.samples.length;
      let held = this.channels.get(key);
      if (!held) {
        held = { kind: KINDS[piece.kind], fetus: piece.fetus, rate: piece.rate_hz, from: piece.first, values: new Float32Array(4096).fill(NaN), length: 0 };
        this.channels.set(key, held);
      }
      const at = piece.first - held.from;
      if (at < 0) {
        const grown = new Float32Array(held.values.length - at).fill(NaN);
        grown.set(held.values, -at);
        held.values = grown;
        held.from = piece.first;
        held.length -= at;
      }
      const begin = piece.first - held.from;
      if (last - held.from > held.values.length) {
        const grown = new Float32Array((last - held.from) * 2).fill(NaN);
        grown.set(held.values.subarray(0, held.length));
        held.values = grown;
      }
      for (let i = 0; i < piece.samples.length; i += 1) held.values[begin + i] = piece.samples[i] === null ? NaN : piece.samples[i];
      held.length = Math.max(held.length, begin + piece.samples.length);
      this.end = Math.max(this.end, last / piece.rate_hz);
    }
    if (this.follow) this.right = this.end;
    this.paint();
  }

  /** From where on pieces are wanted: a little again, for what came late. */
  get wanted() {
    return Math.max(0, this.end - 30);
  }

  setFindings(items, curve) {
    this.items = items;
    this.curve = curve;
    this.paint();
  }

  setSpeed(speed) {
    this.speed = speed;
    this.paint();
  }

  move(share) {
    this.look(this.right + share * this.wide * this.spp);
  }

  look(right) {
    const first = Math.min(...[...this.channels.values()].map((one) => one.from / one.rate), this.end);
    this.right = Math.min(this.end, Math.max(right, Math.min(this.end, first + this.wide * this.spp)));
    this.follow = this.right >= this.end - 0.5;
    this.paint();
    this.onview?.();
  }

  followOn() {
    this.follow = true;
    this.right = this.end;
    this.paint();
    this.onview?.();
  }

  get shown() {
    return { start_s: Math.max(0, this.right - this.wide * this.spp), end_s: this.right };
  }

  paint() {
    this.pending ??= requestAnimationFrame(() => {
      this.pending = null;
      this.drawAll();
    });
  }

  drawAll() {
    const style = getComputedStyle(this.root);
    const ink = (name) => style.getPropertyValue(name).trim();
    const inks = {
      ground: ink("--ground"), ink: ink("--ink"), soft: ink("--soft"), paper: ink("--strip-paper"), band: ink("--strip-band"),
      grid: ink("--strip-grid"), gridStrong: ink("--strip-grid-strong"), heart: ink("--strip-heart"), second: ink("--strip-second"),
      uterine: ink("--strip-uterine"), maternal: ink("--strip-maternal"), baseline: ink("--strip-baseline"), rise: ink("--strip-rise"),
      fall: ink("--strip-fall"), contraction: ink("--strip-uterine"),
    };
    const unit = this.unit();
    const cm = pixelsPerCm();
    const [least, most] = RANGE;
    const step = bpmPerCm(this.speed);
    const lanes = {};
    let top = 2;
    const heights = { found: 34 * unit, heart: ((most - least) / step) * cm * 0.85, squeezes: 20 * unit, uterine: 2.6 * cm, time: 26 * unit };
    for (const [name, height] of Object.entries(heights)) {
      lanes[name] = { top, height: Math.round(height) };
      top += lanes[name].height + 4;
    }
    for (const name of ["yours", "signal", "columns"]) lanes[name] = { top, height: 0 };
    const activity = [...this.channels.values()].find((one) => one.kind === "uterine");
    const highest = activity ? activity.values.subarray(0, activity.length).reduce((a, b) => (b > a ? b : a), 0) : 0;
    Object.assign(lanes.heart, { least, most, fine: 10, strong: step === 30 ? 30 : 20, label: step === 30 ? 30 : 20 });
    Object.assign(lanes.uterine, { least: 0, most: highest > 105 ? Math.ceil(highest / 20) * 20 : 100, fine: 20, strong: 100, label: 50 });
    const dpr = window.devicePixelRatio || 1;
    const width = this.root.clientWidth;
    if (this.canvas.width !== Math.round(width * dpr) || this.canvas.height !== Math.round(top * dpr)) {
      this.canvas.width = Math.round(width * dpr);
      this.canvas.height = Math.round(top * dpr);
      this.canvas.style.height = `${top}px`;
    }
    // The drawing counts from the first sample shown, on a whole ten minutes.
    const left = this.right - this.wide * this.spp;
    const base = Math.max(0, Math.floor((left - 60) / 600) * 600);
    const from = new Date(Date.parse(this.start) + base * 1000);
    const local = new Date(from.getTime() - from.getTimezoneOffset() * 60000).toISOString();
    const scene = {
      ink: inks, width, height: top, lanes, unit, gutter: Math.round(GUTTER * unit), spp: this.spp, t0: left - base,
      clock: new Clock(local), duration: this.end - base, narrow: width < NARROW, uterineUnit: width < NARROW ? "no unit" : "activity", blind: false, selected: null, fetus: 1,
    };
    const ctx = this.canvas.getContext("2d");
    ctx.setTransform(dpr, 0, 0, dpr, 0, 0);
    draw.paper(ctx, scene);
    const signals = [...this.channels.values()].map((one) => {
      const first = Math.round(base * one.rate) - one.from;
      const count = Math.max(1, Math.min(one.length - first, Math.ceil((this.right - base + 60) * one.rate)));
      const samples = new Float32Array(count).fill(NaN);
      const begin = Math.max(0, first);
      if (first + count > begin) samples.set(one.values.subarray(begin, first + count), begin - first);
      return { ...one, samples, pyramid: new Pyramid(samples) };
    });
    if (this.curve) draw.baseline(ctx, scene, { start_s: this.curve.start_s - base, step_s: this.curve.step_s, values: this.curve.bpm });
    for (const one of signals) {
      if (one.kind === "uterine") draw.trace(ctx, scene, lanes.uterine, one, { colour: inks.uterine, width: 1.5 });
      else if (one.kind === "maternal") draw.trace(ctx, scene, lanes.heart, one, { colour: inks.maternal, width: 1.3, dash: [2, 3] });
      else draw.trace(ctx, scene, lanes.heart, one, { colour: one.fetus === 1 ? inks.heart : inks.second, width: 1.6 });
    }
    const placed = this.items.map((one) => ({
      ...one, id: `${one.kind}${one.start_s}`, start_s: one.start_s - base, end_s: one.end_s - base, turn_s: one.turn_s - base,
      name: one.kind, human: !one.final, tone: one.kind === "acceleration" ? "rise" : one.kind === "contraction" ? "contraction" : "fall",
    }));
    draw.brackets(ctx, scene, lanes.found, placed.filter((one) => one.kind !== "contraction"));
    const squeezes = placed.filter((one) => one.kind === "contraction");
    draw.brackets(ctx, scene, lanes.squeezes, squeezes, { named: false });
    draw.peaks(ctx, scene, squeezes);
    draw.gutter(ctx, scene);
    draw.timeAxis(ctx, scene);
    // Now: a line at the paper's growing edge.
    const px = draw.x(scene, this.end - base);
    if (px <= width) {
      ctx.fillStyle = inks.soft;
      ctx.fillRect(Math.min(px, width - 2), lanes.heart.top, 2, lanes.uterine.top + lanes.uterine.height - lanes.heart.top);
    }
  }
}
