// The strip: pan, zoom, travel, measure and mark on a recording of any length.
//
//   const strip = new Strip(element, { label });
//   strip.load({ duration_s, start, traces });      traces: {kind, fetus, rate_hz, unit, samples}
//   strip.setItems(items);                          findings and marks, see docs/workbench.md
//   strip.addEventListener("span", (event) => …);   what the reader did with the tool in hand
//
// Times are seconds from the recording's start everywhere.
import * as draw from "./draw.js";
import { Clock, SHORTEST_VIEW_S, bpmPerCm, pixelsPerCm, span } from "./paper.js";
import { Pyramid } from "./pyramid.js";

const GUTTER = 112;
const NARROW = 560; // pixels; below it words in the gutter are cut short
const NARROW_GUTTER = 70;
const LEAST_HEART = 120;
const LEAST_UTERINE = 50;
const WALL_UNIT = 2;
const TOUCH_SLOP = 6;
const EASE_MS = 260;
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const INK = {
  ground: "--ground", paper: "--strip-paper", band: "--strip-band", grid: "--strip-grid",
  gridStrong: "--strip-grid-strong", ink: "--ink", soft: "--soft", accent: "--accent",
  heart: "--strip-heart", second: "--strip-second", uterine: "--strip-uterine",
  maternal: "--strip-maternal", baseline: "--strip-baseline", acceleration: "--strip-rise",
  deceleration: "--strip-fall", contraction: "--strip-uterine", own: "--strip-own",
  other: "--strip-other", lost: "--strip-lost", suspect: "--watch", veil: "--strip-veil",
  evidence: "--strip-evidence", caution: "--watch", alarming: "--alarm", sinus: "--alarm",
};

export class Strip extends EventTarget {
  /** fit: as high as its place is, not as high as true paper is. columns: room for the cells of
   *  setColumns. overview: a picture of the whole below. details(item): where a chosen finding is told; without it, in a card on the strip. */
  constructor(root, { label = "Strip", tall = false, fit = false, columns = true, overview = true, details = null } = {}) {
    super();
    this.root = root;
    root.strip = this;
    root.classList.add("strip");
    this.canvas = document.createElement("canvas");
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-roledescription", "strip");
    this.canvas.setAttribute("aria-label", `${label}. Arrow keys pan, plus and minus zoom, comma and full stop travel from finding to finding.`);
    this.glass = document.createElement("canvas");
    this.glass.className = "strip-glass";
    this.glass.setAttribute("aria-hidden", "true");
    this.pop = document.createElement("div");
    this.pop.className = "strip-pop";
    this.pop.hidden = true;
    this.voice = document.createElement("p");
    this.voice.className = "unseen";
    this.voice.setAttribute("aria-live", "polite");
    root.replaceChildren(this.canvas, this.glass, this.pop, this.voice);
    this.items = [];
    this.curve = null;
    this.cells = [];
    this.evidence = [];
    this.window = null;
    this.blind = false;
    this.tool = "travel";
    this.fetus = 1;
    this.speed = 1;
    this.range = [50, 210];
    this.tall = tall;
    this.fit = fit;
    this.withColumns = columns;
    this.withOverview = overview;
    this.details = details;
    root.classList.toggle("fitted", fit);
    this.selected = null;
    this.cursor = null;
    this.caliper = null;
    this.drag = null;
    this.pointers = new Map();
    this.t0 = 0;
    this.spp = 1;
    this.duration = 0;
    this.traces = [];
    this.readInk();
    this.listen();
  }

  // -- what is shown -------------------------------------------------------------------------

  load({ duration_s, start, traces }) {
    this.duration = duration_s;
    this.clock = new Clock(start);
    this.traces = traces.map((t) => ({ ...t, rate: t.rate_hz, pyramid: new Pyramid(t.samples) }));
    this.uterineMost = 100;
    for (const t of this.traces.filter((one) => one.kind === "uterine")) {
      t.pyramid.stretch(0, t.samples.length, true);
      if (t.pyramid.high > 100) this.uterineMost = Math.min(Math.ceil(t.pyramid.high / 20) * 20, 200);
    }
    this.paper(this.speed, false);
  }

  /** All brackets, of every layer; sorted by start. Hidden layers are left out by `blind`. */
  setItems(items) {
    this.items = [...items].sort((a, b) => a.start_s - b.start_s);
    if (!this.items.some((i) => i.id === this.selected)) this.select(null);
    if (this.fit && this.traces.length && this.hasYours !== this.yours) this.layout();
    this.refresh();
  }

  /** Whether anyone marked or corrected: their lane takes room only then. */
  get yours() {
    return this.items.some((i) => i.layer !== "computed" && i.plot === "heart");
  }

  setBaseline(curve) {
    this.curve = curve;
    this.refresh();
  }

  setColumns(cells) {
    this.cells = cells;
    this.refresh();
  }

  setWindow(window) {
    this.window = window;
    this.refresh();
  }

  setBlind(blind) {
    this.blind = blind;
    this.evidence = [];
    if (blind) this.select(null);
    this.refresh();
  }

  setFetus(fetus) {
    this.fetus = fetus;
    this.whole = null;
    this.refresh();
  }

  setTool(tool) {
    this.tool = tool;
    this.caliper = null;
    this.drag = null;
    this.cursor = null;
    this.canvas.dataset.tool = tool;
    this.hidePop();
    this.refreshGlass();
    this.emit("tool", { tool });
  }

  /** Shade the stretches a reason rests on, and go there. */
  showEvidence(windows) {
    this.evidence = windows;
    this.select(null);
    if (windows.length) {
      const start = Math.min(...windows.map((w) => w.start_s));
      const end = Math.max(...windows.map((w) => w.end_s));
      this.reach(start, end);
    }
    this.refresh();
  }

  visibleItems() {
    return this.blind ? this.items.filter((i) => i.layer === "own") : this.items;
  }

  // -- where we are --------------------------------------------------------------------------

  get shown() {
    return { start_s: this.t0, end_s: this.t0 + this.wide * this.spp };
  }

  get wide() {
    return Math.max(this.width - this.gutter, 10);
  }

  /** True paper speed in cm/min of what is on the screen now. */
  get cmPerMin() {
    return 60 / (this.spp * pixelsPerCm());
  }

  get onPaper() {
    return Math.abs(this.cmPerMin - this.speed) < 0.005 && this.heightsTrue;
  }

  /** Go to true paper at 1, 2 or 3 cm/min, keeping the middle of the view. */
  paper(speed, smooth = true) {
    const middle = this.t0 + (this.wide * this.spp) / 2;
    this.speed = speed;
    this.layout();
    const spp = 60 / (speed * pixelsPerCm());
    this.goto(middle - (this.wide * spp) / 2, spp, smooth);
  }

  all() {
    this.hidePop();
    this.goto(0, Math.max(this.duration, SHORTEST_VIEW_S) / this.wide);
  }

  zoom(factor, px = this.gutter + this.wide / 2, smooth = true) {
    const at = draw.seconds(this, px);
    const spp = this.boundedSpp(this.spp * factor);
    this.goto(at - (px - this.gutter) * spp, spp, smooth);
  }

  pan(pixels, smooth = true) {
    const from = this.target ? this.target.t0 : this.t0;
    this.goto(from + pixels * this.spp, this.target ? this.target.spp : this.spp, smooth);
  }

  /** Bring a stretch into view with as little movement as will do. */
  reach(start, end) {
    const { t0, spp: now } = this.target || this;
    const room = this.wide * now;
    const margin = room * 0.08;
    if (end - start > room - 2 * margin) {
      const spp = this.boundedSpp((end - start) / (this.wide * 0.8));
      this.goto(start - this.wide * 0.1 * spp, spp);
    } else if (start < t0 + margin || end > t0 + room - margin) {
      this.goto((start + end) / 2 - room / 2, now);
    }
  }

  boundedSpp(spp) {
    const most = Math.max(this.duration, SHORTEST_VIEW_S) / this.wide;
    return Math.min(Math.max(spp, SHORTEST_VIEW_S / this.wide), Math.max(most, 60 / pixelsPerCm()));
  }

  goto(t0, spp, smooth = true) {
    const bounded = this.boundedSpp(spp);
    const room = this.wide * bounded;
    const latest = this.duration - room * 0.98;
    const earliest = -room * 0.02;
    const goal = { t0: latest < earliest ? earliest : Math.min(Math.max(t0, earliest), latest), spp: bounded };
    if (!smooth || calm.matches) {
      this.target = null;
      this.t0 = goal.t0;
      this.spp = goal.spp;
    } else {
      this.target = { ...goal, from: { t0: this.t0, spp: this.spp }, begun: performance.now() };
    }
    this.refresh();
  }

  // -- findings ------------------------------------------------------------------------------

  select(id, { travel = false } = {}) {
    const item = this.visibleItems().find((i) => i.id === id) || null;
    this.selected = item ? item.id : null;
    if (item) {
      this.evidence = [];
      if (travel) this.reach(item.start_s, item.end_s);
      this.voice.textContent = this.spoken(item);
    }
    this.refresh();
    this.emit("select", { item });
  }

  /** The next (or with -1 the previous) finding by time, from the chosen one or the middle. */
  travel(step) {
    const list = this.visibleItems().filter((i) => i.travel !== false);
    if (!list.length) return;
    const here = list.findIndex((i) => i.id === this.selected);
    let next = here + step;
    if (here < 0) {
      const middle = this.t0 + (this.wide * this.spp) / 2;
      const after = list.findIndex((i) => i.start_s > middle);
      next = step > 0 ? (after < 0 ? list.length - 1 : after) : (after < 0 ? list.length : after) - 1;
    }
    next = Math.min(Math.max(next, 0), list.length - 1);
    this.select(list[next].id, { travel: true });
    this.showPop(list[next], null);
  }

  spoken(item) {
    const details = (item.details || []).map(([name, words]) => `${name} ${words}`).join(", ");
    return `${item.title || item.name}, ${this.clock.text(item.start_s, true)}. ${details}. ${item.rule || ""}`;
  }

  itemAt(px, py) {
    const t = draw.seconds(this, px);
    const slack = 4 * this.spp;
    const lanes = this.lanes;
    const inside = (lane) => py >= lane.top - 2 && py <= lane.top + lane.height + 2;
    const uterine = inside(lanes.squeezes) || inside(lanes.uterine);
    const own = inside(lanes.yours);
    const found = this.visibleItems().filter((i) => {
      if (i.start_s - slack > t || i.end_s + slack < t) return false;
      if (inside(lanes.signal)) return i.plot === "signal";
      if (i.plot === "signal") return false;
      if (own) return i.layer !== "computed" && i.plot !== "uterine";
      if (inside(lanes.found)) return i.layer === "computed" && i.plot === "heart";
      return (i.plot === "uterine") === uterine;
    });
    found.sort((a, b) => a.end_s - a.start_s - (b.end_s - b.start_s));
    return found[0] || null;
  }

  // -- the pop-over --------------------------------------------------------------------------

  /** pointer: where it hovers, for two short lines; null: chosen, for everything and what to do. */
  showPop(item, pointer) {
    if (!pointer && this.details) {
      this.hidePop();
      this.details(item);
      return;
    }
    const pop = this.pop;
    pop.replaceChildren(...(pointer ? this.shortCard(item) : this.fullCard(item)));
    if (!pointer) {
      const close = document.createElement("button");
      close.className = "quiet strip-close";
      close.textContent = "Close";
      close.addEventListener("click", () => this.closePop());
      pop.append(close);
    }
    pop.classList.toggle("pinned", !pointer);
    pop.hidden = false;
    this.placePop(item, pointer);
  }

  closePop() {
    this.hidePop();
    this.canvas.focus({ preventScroll: true });
  }

  shortCard(item) {
    const line = (tag, words) => Object.assign(document.createElement(tag), { textContent: words });
    const numbers = (item.details || []).slice(0, 3).map(([name, words]) => `${name} ${words}`).join(" · ");
    return [
      line("strong", `${item.title || item.name}${item.struck ? ` (${item.struck})` : ""}`),
      line("span", [this.clock.text(item.start_s, true), span(item.end_s - item.start_s), numbers || item.note].filter(Boolean).join(" · ")),
    ];
  }

  /** Everything about a finding, as elements; also for a page that shows it elsewhere. */
  fullCard(item) {
    const title = Object.assign(document.createElement("h3"), { textContent: item.title || item.name });
    const when = document.createElement("p");
    when.className = "soft";
    when.textContent = `${this.clock.text(item.start_s, true)} to ${this.clock.text(item.end_s, true)} · ${span(item.end_s - item.start_s)}${item.author ? ` · ${item.author}` : ""}`;
    /** @type {HTMLElement[]} */
    const made = [title, when];
    if (item.details?.length) {
      const list = document.createElement("dl");
      for (const [name, words] of item.details) {
        list.append(Object.assign(document.createElement("dt"), { textContent: name }), Object.assign(document.createElement("dd"), { textContent: words }));
      }
      made.push(list);
    }
    for (const words of [item.rule, item.note, item.struck ? `Struck out: ${item.struck}` : ""]) {
      if (words) made.push(Object.assign(document.createElement("p"), { textContent: words }));
    }
    if (item.actions !== false) {
      const actions = document.createElement("div");
      actions.className = "strip-actions";
      this.emit("actions", { item, box: actions });
      if (actions.childElementCount) made.push(actions);
    }
    return made;
  }

  placePop(item, pointer) {
    const pop = this.pop;
    this.popItem = item;
    this.popPinned = !pointer;
    const box = pop.getBoundingClientRect();
    const lane = item.plot === "uterine" ? this.lanes.squeezes : this.lanes.found;
    const widest = this.width - box.width - 4;
    let left;
    let top;
    if (pointer) {
      left = Math.min(Math.max(pointer.x + 18, 4), widest);
      top = pointer.y + 20;
      if (left < pointer.x) top = pointer.y - box.height - 14;
    } else {
      // beside the finding, so that it can still be seen
      const after = draw.x(this, item.end_s) + 14;
      const before = draw.x(this, item.start_s) - box.width - 14;
      left = after <= widest ? after : before >= 4 ? before : Math.max(widest, 4);
      top = lane.top + 6;
    }
    if (top + box.height > this.height) top = this.height - box.height - 4;
    top = Math.max(top, 4);
    pop.style.left = `${left}px`;
    pop.style.top = `${top}px`;
  }

  hidePop() {
    this.pop.hidden = true;
    this.popItem = null;
    this.popPinned = false;
  }

  // -- drawing -------------------------------------------------------------------------------

  readInk() {
    const style = getComputedStyle(this.root);
    this.ink = Object.fromEntries(Object.entries(INK).map(([key, name]) => [key, style.getPropertyValue(name).trim()]));
    this.whole = null;
  }

  layout() {
    const cm = pixelsPerCm();
    const width = this.root.clientWidth || 900;
    const [least, most] = this.range;
    let heart = ((most - least) / bpmPerCm(this.speed)) * cm;
    let uterine = 4 * cm * 0.9;
    // Words and lanes grow with the page's own letters, and on the wall.
    const unit = (parseFloat(getComputedStyle(document.documentElement).fontSize) / 17) * (this.tall ? WALL_UNIT : 1);
    this.unit = unit;
    this.narrow = width < NARROW * unit;
    this.gutter = Math.round((this.narrow ? NARROW_GUTTER : GUTTER) * unit);
    this.hasYours = this.yours;
    const yours = this.fit && !this.hasYours ? 0 : 38;
    const heights = { found: 38, yours, heart: 0, signal: 14, squeezes: 36, uterine: 0, columns: this.withColumns ? 4 * draw.ROW + 6 : 0, time: 28, whole: this.tall || !this.withOverview ? 0 : 32 };
    // On a small screen the picture of the whole gives way to the strip and its axes.
    const sum = Object.values(heights).reduce((total, one) => total + one, 30) * unit;
    let wanting = this.fit ? sum + LEAST_HEART + LEAST_UTERINE - this.root.clientHeight : 0;
    for (const name of ["whole", "columns"]) {
      if (wanting <= 0) break;
      wanting -= heights[name] * unit;
      heights[name] = 0;
    }
    /** @type {Record<string, { height: number, top?: number }>} */
    const lanes = Object.fromEntries(Object.entries(heights).map(([name, high]) => [name, { height: Math.round(high * unit) }]));
    const fixed = Object.values(lanes).reduce((sum, lane) => sum + lane.height, 30);
    this.heightsTrue = !this.tall;
    if (this.tall) {
      const room = Math.max(this.root.clientHeight - fixed, 260);
      heart = room * 0.68;
      uterine = room * 0.32;
    } else if (this.fit) {
      // The rate's scale stays true as long as it can; activity has no scale of its own to keep.
      const room = this.root.clientHeight - fixed;
      const wanted = heart;
      uterine = Math.min(Math.max(room - heart, LEAST_UTERINE, Math.min(66, room * 0.3)), uterine * 1.4);
      heart = Math.max(Math.min(heart, room - uterine), LEAST_HEART);
      this.heightsTrue = heart > wanted - 1;
    }
    lanes.heart.height = Math.round(heart);
    lanes.uterine.height = Math.round(uterine);
    let top = 2;
    const gaps = { found: 0, yours: yours ? 2 : 0, heart: 6, signal: 4, squeezes: 0, uterine: 6, columns: 0, time: 6, whole: 4 };
    for (const [name, lane] of Object.entries(lanes)) {
      lane.top = top;
      top += lane.height + gaps[name];
    }
    const step = bpmPerCm(this.speed);
    Object.assign(lanes.heart, { least, most, fine: 10, strong: step === 30 ? 30 : 20, label: step === 30 ? 30 : 20 });
    Object.assign(lanes.uterine, { least: 0, most: this.uterineMost || 100, fine: 10, strong: 50, label: 20 });
    const unitWritten = this.traces.find((t) => t.kind === "uterine")?.unit;
    this.uterineUnit = ["", "nd", undefined].includes(unitWritten) ? "no unit" : unitWritten;
    this.lanes = lanes;
    this.width = width;
    this.roomHigh = this.root.clientHeight;
    this.height = top;
    const dpr = window.devicePixelRatio || 1;
    this.dpr = dpr;
    for (const canvas of [this.canvas, this.glass]) {
      canvas.width = Math.round(width * dpr);
      canvas.height = Math.round(top * dpr);
      canvas.style.width = `${width}px`;
      canvas.style.height = `${top}px`;
    }
    this.root.style.height = this.tall || this.fit ? "" : `${top}px`;
    this.whole = null;
  }

  refresh() {
    if (!this.traces.length || this.pending) return;
    this.pending = requestAnimationFrame((now) => {
      this.pending = null;
      this.step(now);
    });
  }

  step(now) {
    if (this.target) {
      const { from, begun } = this.target;
      const part = Math.min((now - begun) / EASE_MS, 1);
      const eased = 1 - (1 - Math.max(part, 0)) ** 3;
      // zoom evenly to the eye, keeping the goal's middle in step
      const spp = from.spp * (this.target.spp / from.spp) ** eased;
      const mix = Math.abs(this.target.spp - from.spp) < 1e-9 ? eased : (spp - from.spp) / (this.target.spp - from.spp);
      this.t0 = from.t0 + (this.target.t0 - from.t0) * mix;
      this.spp = spp;
      if (part >= 1) {
        this.t0 = this.target.t0;
        this.spp = this.target.spp;
        this.target = null;
      }
    } else if (this.glide) {
      const passed = Math.min(now - this.glide.last, 50);
      this.glide.last = now;
      const before = this.t0;
      this.goto(this.t0 - this.glide.speed * passed * this.spp, this.spp, false);
      this.glide.speed *= 0.995 ** passed;
      if (Math.abs(this.glide.speed) < 0.02 || before === this.t0) this.glide = null;
    }
    this.paint();
    if (this.target || this.glide) this.refresh();
    const { start_s: s, end_s: e } = this.shown;
    if (s !== this.lastShown?.[0] || e !== this.lastShown?.[1]) {
      this.lastShown = [s, e];
      this.emit("view", this.shown);
      if (this.popItem && this.popPinned) this.placePop(this.popItem, null);
    }
  }

  paint() {
    const ctx = this.canvas.getContext("2d", { alpha: false });
    ctx.setTransform(this.dpr, 0, 0, this.dpr, 0, 0);
    draw.paper(ctx, this);
    const items = this.visibleItems();
    const shownItems = items.filter((i) => i.end_s >= this.t0 - 60 * this.spp && i.start_s <= this.t0 + (this.wide + 60) * this.spp);
    for (const w of this.evidence) draw.shade(ctx, this, w.start_s, w.end_s, this.ink.evidence, this.evidence.length < 12);
    const chosen = items.find((i) => i.id === this.selected);
    if (chosen) draw.shade(ctx, this, chosen.start_s, chosen.end_s, this.ink[chosen.tone] || this.ink.accent);
    for (const t of this.traces) {
      if (t.kind === "uterine") draw.trace(ctx, this, this.lanes.uterine, t, { colour: this.ink.uterine, width: 1.5 });
    }
    if (!this.blind && this.curve) draw.baseline(ctx, this, this.curve);
    for (const t of this.traces) {
      if (t.kind === "maternal") draw.trace(ctx, this, this.lanes.heart, t, { colour: this.ink.maternal, width: 1.3, dash: [2, 3] });
    }
    const hearts = this.traces.filter((t) => t.kind === "heart").sort((a) => (a.fetus === this.fetus ? 1 : -1));
    for (const t of hearts) {
      const main = t.fetus === this.fetus;
      draw.trace(ctx, this, this.lanes.heart, t, { colour: main ? this.ink.heart : this.ink.second, width: main ? 1.5 : 1.2 });
    }
    for (const t of this.traces) {
      if (t.kind === "maternal") draw.traceName(ctx, this, this.lanes.heart, t, "mother", this.ink.maternal);
      else if (t.kind === "heart" && hearts.length > 1) draw.traceName(ctx, this, this.lanes.heart, t, `fetus ${t.fetus}`, t.fetus === this.fetus ? this.ink.heart : this.ink.second);
    }
    if (chosen) this.paintChosen(ctx, chosen);
    const main = this.traces.find((t) => t.kind === "heart" && t.fetus === this.fetus);
    if (main) draw.signalLane(ctx, this, main, shownItems.filter((i) => i.plot === "signal" && i.kind !== "signal lost"));
    this.paintBrackets(ctx, shownItems);
    if (!this.blind && this.withColumns) draw.columns(ctx, this, this.cells);
    draw.timeAxis(ctx, this);
    if (!this.whole && this.lanes.whole.height) {
      const signals = hearts.map((t) => ({ ...t, colour: t.fetus === this.fetus ? this.ink.heart : this.ink.second }));
      this.whole = draw.overviewPicture(this, signals, this.wide, this.lanes.whole.height, this.dpr);
    }
    if (this.lanes.whole.height) draw.overview(ctx, this, this.whole);
    draw.gutter(ctx, this);
    this.paintGlass();
  }

  paintBrackets(ctx, items) {
    const { lanes } = this;
    const heart = items.filter((i) => i.plot === "heart" && i.value_mark !== true);
    if (this.blind) {
      ctx.fillStyle = this.ink.soft;
      draw.font(ctx, this);
      ctx.textAlign = "left";
      ctx.textBaseline = "middle";
      ctx.fillText("Computed findings are hidden while you read blind.", this.gutter + 8, lanes.found.top + lanes.found.height / 2);
    } else {
      draw.brackets(ctx, this, lanes.found, heart.filter((i) => i.layer === "computed"));
    }
    draw.brackets(ctx, this, lanes.yours, heart.filter((i) => i.layer !== "computed"));
    draw.levels(ctx, this, items.filter((i) => i.value_mark));
    const squeezes = items.filter((i) => i.plot === "uterine");
    const computed = squeezes.filter((i) => i.layer === "computed");
    draw.peaks(ctx, this, squeezes);
    draw.brackets(ctx, this, { ...lanes.squeezes, top: lanes.squeezes.top + 12 * this.unit, height: lanes.squeezes.height - 12 * this.unit }, computed, { named: false });
    draw.brackets(ctx, this, { ...lanes.squeezes, height: lanes.squeezes.height - 12 * this.unit }, squeezes.filter((i) => i.layer !== "computed"), { named: false });
  }

  paintChosen(ctx, item) {
    if (item.turn_s === null || item.turn_s === undefined) return;
    const lane = item.plot === "uterine" ? this.lanes.uterine : this.lanes.heart;
    const px = draw.x(this, item.turn_s);
    ctx.strokeStyle = this.ink.ink;
    ctx.lineWidth = 1.2;
    ctx.setLineDash([5, 4]);
    ctx.beginPath();
    ctx.moveTo(px, this.lanes.heart.top);
    ctx.lineTo(px, this.lanes.uterine.top + this.lanes.uterine.height);
    ctx.stroke();
    ctx.setLineDash([]);
    if (item.turn_value !== undefined && item.turn_value !== null) {
      ctx.beginPath();
      ctx.arc(px, draw.y(lane, item.turn_value), 5, 0, 7);
      ctx.stroke();
    }
  }

  refreshGlass() {
    if (this.pendingGlass || !this.traces.length) return;
    this.pendingGlass = requestAnimationFrame(() => {
      this.pendingGlass = null;
      this.paintGlass();
    });
  }

  paintGlass() {
    const ctx = this.glass.getContext("2d");
    ctx.setTransform(this.dpr, 0, 0, this.dpr, 0, 0);
    ctx.clearRect(0, 0, this.width, this.height);
    if (this.drag?.box) this.paintSpan(ctx, this.drag.box);
    if (this.caliper) this.paintCaliper(ctx, this.caliper);
    if (this.cursor) this.paintCursor(ctx);
  }

  paintCursor(ctx) {
    const { lanes, ink } = this;
    const px = draw.x(this, this.cursor.t);
    if (px < this.gutter || this.cursor.t < 0 || this.cursor.t > this.duration) return;
    ctx.strokeStyle = ink.accent;
    ctx.lineWidth = 1;
    ctx.beginPath();
    ctx.moveTo(Math.round(px) + 0.5, lanes.heart.top);
    ctx.lineTo(Math.round(px) + 0.5, lanes.uterine.top + lanes.uterine.height);
    const level = this.cursor.y;
    if (level !== null && level > lanes.heart.top && level < lanes.heart.top + lanes.heart.height) {
      ctx.moveTo(this.gutter, Math.round(level) + 0.5);
      ctx.lineTo(this.width, Math.round(level) + 0.5);
    }
    ctx.stroke();
    const said = this.readings(this.cursor.t);
    const words = [this.clock.text(this.cursor.t, true), ...said];
    if (level !== null && level > lanes.heart.top && level < lanes.heart.top + lanes.heart.height) {
      this.chip(ctx, String(Math.round(draw.value(lanes.heart, level))), this.gutter - 4, level, "right");
    }
    this.chip(ctx, words.join("   "), px, lanes.heart.top + lanes.heart.height - 14, "center");
  }

  chip(ctx, words, px, py, align) {
    draw.font(ctx, this);
    const wide = ctx.measureText(words).width + 14;
    let left = align === "right" ? px - wide : px - wide / 2;
    left = Math.min(Math.max(left, 2), this.width - wide - 2);
    ctx.fillStyle = this.ink.ink;
    ctx.beginPath();
    ctx.roundRect(left, py - 12, wide, 24, 6);
    ctx.fill();
    ctx.fillStyle = this.ink.paper;
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    ctx.fillText(words, left + 7, py + 0.5);
  }

  /** What each trace says at a time, in words; missing signal is said, never left out. */
  readings(t) {
    return this.traces.map((one) => {
      const v = one.samples[Math.round(t * one.rate)];
      const missing = v === undefined || v !== v;
      if (one.kind === "uterine") return missing ? "activity: no signal" : `activity ${Math.round(v)}${one.unit === "mmHg" ? " mmHg" : ""}`;
      const name = one.kind === "maternal" ? "mother " : this.traces.filter((o) => o.kind === "heart").length > 1 ? `fetus ${one.fetus}: ` : "";
      return missing ? `${name}no signal` : `${name}${Math.round(v)} bpm`;
    });
  }

  paintSpan(ctx, box) {
    const { lanes, ink } = this;
    const a = draw.x(this, Math.min(box.from, box.to));
    const b = draw.x(this, Math.max(box.from, box.to));
    ctx.fillStyle = ink.own;
    ctx.globalAlpha = 0.2;
    ctx.fillRect(a, lanes.heart.top, b - a, lanes.uterine.top + lanes.uterine.height - lanes.heart.top);
    ctx.globalAlpha = 1;
    ctx.strokeStyle = ink.own;
    ctx.lineWidth = 2;
    ctx.strokeRect(a, lanes.heart.top, b - a, lanes.uterine.top + lanes.uterine.height - lanes.heart.top);
    if (box.level) {
      ctx.beginPath();
      ctx.setLineDash([3, 4]);
      ctx.moveTo(a, box.levelY);
      ctx.lineTo(b, box.levelY);
      ctx.stroke();
      ctx.setLineDash([]);
      this.chip(ctx, `${Math.round(box.level)} bpm`, a, box.levelY, "right");
    }
    this.chip(ctx, span(Math.abs(box.to - box.from)), (a + b) / 2, lanes.heart.top + 16, "center");
  }

  paintCaliper(ctx, caliper) {
    const { lanes, ink } = this;
    const { from, to } = caliper;
    const a = draw.x(this, from.t);
    const b = draw.x(this, to.t);
    ctx.fillStyle = ink.accent;
    ctx.globalAlpha = 0.13;
    ctx.fillRect(Math.min(a, b), lanes.heart.top, Math.abs(b - a), lanes.uterine.top + lanes.uterine.height - lanes.heart.top);
    ctx.globalAlpha = 1;
    ctx.strokeStyle = ink.accent;
    ctx.lineWidth = 2;
    ctx.beginPath();
    for (const px of [a, b]) {
      ctx.moveTo(px, lanes.heart.top);
      ctx.lineTo(px, lanes.uterine.top + lanes.uterine.height);
    }
    ctx.moveTo(Math.min(a, b), from.y);
    ctx.lineTo(Math.max(a, b), from.y);
    ctx.moveTo(Math.min(a, b), to.y);
    ctx.lineTo(Math.max(a, b), to.y);
    ctx.stroke();
  }

  /** Numbers of the calipers: seconds, bpm, and the area between the trace and its baseline. */
  measure(caliper) {
    const start = Math.min(caliper.from.t, caliper.to.t);
    const end = Math.max(caliper.from.t, caliper.to.t);
    const main = this.traces.find((t) => t.kind === "heart" && t.fetus === this.fetus);
    const levelA = draw.value(this.lanes.heart, caliper.from.y);
    const levelB = draw.value(this.lanes.heart, caliper.to.y);
    const said = { start_s: start, end_s: end, seconds: end - start, bpm: levelB - levelA, level: levelA };
    if (!main) return said;
    const first = Math.max(Math.ceil(start * main.rate), 0);
    const last = Math.min(Math.floor(end * main.rate), main.samples.length - 1);
    let lowest = Infinity;
    let highest = -Infinity;
    let area = 0;
    let good = 0;
    const useCurve = !this.blind && this.curve;
    for (let i = first; i <= last; i += 1) {
      const v = main.samples[i];
      if (v !== v) continue;
      let reference = levelA;
      if (useCurve) {
        const at = Math.round((i / main.rate - this.curve.start_s) / this.curve.step_s);
        reference = this.curve.values[Math.min(Math.max(at, 0), this.curve.values.length - 1)];
        if (reference === null) continue;
      }
      lowest = Math.min(lowest, v);
      highest = Math.max(highest, v);
      area += (reference - v) / main.rate;
      good += 1;
    }
    const total = Math.max(last - first + 1, 1);
    return { ...said, lowest: good ? lowest : NaN, highest: good ? highest : NaN, area: good ? area : NaN, valid: good / total, against: useCurve ? "the computed baseline" : `${Math.round(levelA)} bpm, where you began` };
  }

  // -- hands: pointer, wheel, keys -----------------------------------------------------------

  listen() {
    const c = this.canvas;
    c.addEventListener("pointerdown", (e) => this.down(e));
    c.addEventListener("pointermove", (e) => this.move(e));
    c.addEventListener("pointerup", (e) => this.up(e));
    c.addEventListener("pointercancel", (e) => this.up(e, true));
    c.addEventListener("pointerleave", () => {
      if (!this.pointers.size && !this.keyCursor) {
        this.cursor = null;
        if (!this.popPinned) this.hidePop();
        this.refreshGlass();
      }
    });
    c.addEventListener("wheel", (e) => this.wheel(e), { passive: false });
    c.addEventListener("keydown", (e) => this.key(e));
    c.addEventListener("blur", () => {
      this.keyCursor = false;
    });
    this.pop.addEventListener("keydown", (e) => {
      if (e.key !== "Escape") return;
      e.stopPropagation();
      this.closePop();
    });
    this.observer = new ResizeObserver(() => {
      if (!this.traces.length) return;
      const { clientWidth, clientHeight } = this.root;
      if (clientWidth === this.width && (clientHeight === this.roomHigh || !(this.tall || this.fit))) return;
      const { t0, spp } = this;
      this.layout();
      this.goto(t0, spp, false);
    });
    this.observer.observe(this.root);
    const again = () => {
      this.readInk();
      this.refresh();
    };
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
    new MutationObserver(again).observe(document.documentElement, { attributes: true, attributeFilter: ["data-theme"] });
  }

  place(e) {
    const box = this.canvas.getBoundingClientRect();
    return { x: e.clientX - box.left, y: e.clientY - box.top };
  }

  overviewSeconds(px) {
    return ((px - this.gutter) / this.wide) * this.duration;
  }

  down(e) {
    if (e.button !== 0) return;
    this.canvas.setPointerCapture(e.pointerId);
    const at = this.place(e);
    this.pointers.set(e.pointerId, at);
    this.glide = null;
    this.target = null;
    this.keyCursor = false;
    if (this.pointers.size === 2) {
      const [p, q] = [...this.pointers.values()];
      this.drag = { mode: "pinch", gap: Math.hypot(p.x - q.x, p.y - q.y), spp: this.spp, t: draw.seconds(this, (p.x + q.x) / 2) };
      return;
    }
    const t = draw.seconds(this, at.x);
    if (this.lanes.whole.height && at.y >= this.lanes.whole.top) {
      this.drag = { mode: "whole" };
      this.goto(this.overviewSeconds(at.x) - (this.wide * this.spp) / 2, this.spp);
    } else if (this.tool === "measure") {
      this.drag = { mode: "measure" };
      this.caliper = { from: { t, y: at.y }, to: { t, y: at.y } };
    } else if (this.tool === "span" || this.tool === "level") {
      this.drag = { mode: this.tool, box: { from: t, to: t, level: null, levelY: at.y } };
      this.cursor = null;
    } else {
      this.drag = { mode: "pan", x: at.x, t0: this.t0, begun: at, moved: false, track: [[performance.now(), at.x]] };
    }
    this.refreshGlass();
  }

  move(e) {
    const at = this.place(e);
    if (this.pointers.has(e.pointerId)) this.pointers.set(e.pointerId, at);
    const drag = this.drag;
    const t = draw.seconds(this, at.x);
    if (!drag) {
      this.hover(at, e.pointerType);
      return;
    }
    if (drag.mode === "pinch") {
      const [p, q] = [...this.pointers.values()];
      if (!q) return;
      const spp = this.boundedSpp(drag.spp * (drag.gap / Math.max(Math.hypot(p.x - q.x, p.y - q.y), 10)));
      this.goto(drag.t - ((p.x + q.x) / 2 - this.gutter) * spp, spp, false);
    } else if (drag.mode === "whole") {
      this.goto(this.overviewSeconds(at.x) - (this.wide * this.spp) / 2, this.spp, false);
    } else if (drag.mode === "pan") {
      if (!drag.moved && Math.abs(at.x - drag.begun.x) < TOUCH_SLOP) return;
      if (!drag.moved) {
        drag.moved = true;
        if (!this.popPinned) this.hidePop();
        this.cursor = null;
      }
      drag.track.push([performance.now(), at.x]);
      if (drag.track.length > 6) drag.track.shift();
      this.goto(drag.t0 - (at.x - drag.x) * this.spp, this.spp, false);
    } else if (drag.mode === "measure") {
      this.caliper.to = { t, y: at.y };
      this.cursor = { t, y: at.y };
      this.emit("measure", this.measure(this.caliper));
      this.refreshGlass();
    } else {
      drag.box.to = t;
      if (drag.mode === "level") {
        drag.box.levelY = at.y;
        drag.box.level = draw.value(this.lanes.heart, at.y);
      }
      this.refreshGlass();
    }
  }

  up(e, cancelled = false) {
    const at = this.place(e);
    this.pointers.delete(e.pointerId);
    const drag = this.drag;
    if (!drag) return;
    if (this.pointers.size) return;
    this.drag = null;
    if (cancelled) {
      this.refreshGlass();
      return;
    }
    if (drag.mode === "pan") {
      if (!drag.moved) {
        this.tap(at);
        return;
      }
      const [t1, x1] = drag.track[0];
      const [t2, x2] = drag.track.at(-1);
      const recent = performance.now() - t2 < 80;
      const speed = t2 > t1 && recent ? (x2 - x1) / (t2 - t1) : 0;
      if (Math.abs(speed) > 0.15 && !calm.matches) {
        this.glide = { speed, last: performance.now() };
        this.refresh();
      }
    } else if (drag.mode === "span" || drag.mode === "level") {
      this.finishSpan(drag.box);
    }
    this.refreshGlass();
  }

  finishSpan(box) {
    const start = Math.min(Math.max(Math.min(box.from, box.to), 0), this.duration);
    const end = Math.min(Math.max(box.from, box.to), this.duration);
    if (end - start < 2) return;
    this.emit("span", { start_s: start, end_s: end, level: box.level });
  }

  tap(at) {
    const item = this.itemAt(at.x, at.y);
    this.select(item ? item.id : null);
    if (item) this.showPop(item, null);
    else {
      this.details?.(null);
      this.hidePop();
      this.emit("point", { t: draw.seconds(this, at.x), y: at.y });
    }
  }

  hover(at, pointerType) {
    if (pointerType === "touch") return;
    const t = draw.seconds(this, at.x);
    this.cursor = at.x > this.gutter && at.y < this.lanes.columns.top ? { t, y: at.y } : null;
    if (!this.popPinned && this.tool === "travel") {
      const item = this.cursor ? this.itemAt(at.x, at.y) : null;
      if (item) {
        if (this.popItem === item) this.placePop(item, at);
        else this.showPop(item, at);
      } else this.hidePop();
    }
    this.refreshGlass();
  }

  wheel(e) {
    const at = this.place(e);
    const unit = e.deltaMode === 1 ? 16 : 1;
    if (e.ctrlKey || e.metaKey || this.tall) {
      e.preventDefault();
      this.zoom(Math.exp(e.deltaY * unit * 0.002), at.x, false);
      return;
    }
    const sideways = e.shiftKey ? e.deltaY || e.deltaX : e.deltaX;
    if (Math.abs(sideways) > 0) {
      e.preventDefault();
      this.pan(sideways * unit, false);
    }
  }

  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const inHand = this.tool !== "travel" && this.tool !== "level";
    const side = { ArrowLeft: -1, ArrowRight: 1 }[e.key];
    if (side && inHand) this.moveCursor(side * (e.shiftKey ? 10 : 1), 0);
    else if (inHand && (e.key === "ArrowUp" || e.key === "ArrowDown")) this.moveCursor(0, e.key === "ArrowUp" ? -1 : 1);
    else if (inHand && (e.key === "Enter" || e.key === " ")) this.press();
    else if (side) this.pan(side * (e.shiftKey ? this.wide * 0.9 : this.wide * 0.12));
    else if (e.key === "+" || e.key === "=") this.zoom(1 / 1.5);
    else if (e.key === "-") this.zoom(1.5);
    else if (e.key === "Home") this.goto(0, this.spp);
    else if (e.key === "End") this.goto(this.duration, this.spp);
    else if (e.key === "." || e.key === ",") this.travel(e.key === "." ? 1 : -1);
    else if (["1", "2", "3"].includes(e.key)) this.emit("speed", { speed: Number(e.key) });
    else if (e.key === "0") this.all();
    else if (e.key === "Enter" && this.selected) this.showPop(this.items.find((i) => i.id === this.selected), null);
    else if (e.key === "Escape") this.leave();
    else {
      this.emit("key", { key: e.key, event: e });
      return;
    }
    e.preventDefault();
  }

  /** The cross-hair by keys, in whole seconds and beats. */
  moveCursor(dt, dBpm) {
    this.keyCursor = true;
    if (!this.cursor) this.cursor = { t: Math.round(this.t0 + (this.wide * this.spp) / 2), y: draw.y(this.lanes.heart, 140) };
    else {
      const { lanes } = this;
      const level = draw.value(lanes.heart, this.cursor.y ?? draw.y(lanes.heart, 140)) - dBpm;
      this.cursor = { t: Math.min(Math.max(this.cursor.t + dt, 0), this.duration), y: draw.y(lanes.heart, level) };
    }
    this.reach(this.cursor.t, this.cursor.t);
    if (this.caliper?.open) {
      this.caliper.to = { ...this.cursor };
      this.emit("measure", this.measure(this.caliper));
    }
    if (this.drag?.keys) this.drag.box.to = this.cursor.t;
    this.voice.textContent = [this.clock.text(this.cursor.t, true), ...this.readings(this.cursor.t)].join(", ");
    this.refreshGlass();
  }

  /** Enter with a tool in hand: the first end, then the second. */
  press() {
    if (!this.cursor) {
      this.moveCursor(0, 0);
      return;
    }
    const point = { ...this.cursor };
    if (this.tool === "measure") {
      if (this.caliper?.open) this.caliper.open = false;
      else this.caliper = { from: point, to: point, open: true };
    } else if (this.drag?.keys) {
      const { box } = this.drag;
      this.drag = null;
      this.finishSpan(box);
    } else {
      this.drag = { keys: true, box: { from: point.t, to: point.t, level: null, levelY: point.y } };
    }
    this.refreshGlass();
  }

  leave() {
    if (!this.pop.hidden) this.hidePop();
    else if (this.drag?.keys || this.caliper) {
      this.drag = null;
      this.caliper = null;
    } else if (this.tool !== "travel") this.setTool("travel");
    else {
      this.evidence = [];
      this.select(null);
      this.details?.(null);
    }
    this.cursor = null;
    this.refresh();
  }

  emit(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }
}
