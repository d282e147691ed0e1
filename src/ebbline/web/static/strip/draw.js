// Drawing of the strip: paper, traces, signs. Everything takes a `scene`: where things are (lanes,
// seconds per pixel, first second), what they look like (ink) and what there is (data).
import { gridSteps, labelStep } from "./paper.js";

const FONT = '"Noto Sans", "DejaVu Sans", system-ui, sans-serif';

export const x = (scene, seconds) => scene.gutter + (seconds - scene.t0) / scene.spp;
export const seconds = (scene, px) => scene.t0 + (px - scene.gutter) * scene.spp;
export const y = (lane, value) => lane.top + ((lane.most - value) / (lane.most - lane.least)) * lane.height;
export const value = (lane, py) => lane.most - ((py - lane.top) / lane.height) * (lane.most - lane.least);

/** Letters on the strip, readable at arm's length: 16 px and more, growing with the page's own. */
const LETTER = 16;
export const ROW = 21; // of the ten-minute columns
export function font(ctx, scene, weight = 400) {
  ctx.font = `${weight} ${LETTER * scene.unit}px ${FONT}`;
}

function line(ctx, x0, y0, x1, y1) {
  ctx.moveTo(x0, y0);
  ctx.lineTo(x1, y1);
}

export function paper(ctx, scene) {
  const { ink, width, height, lanes } = scene;
  ctx.fillStyle = ink.ground;
  ctx.fillRect(0, 0, width, height);
  const right = width;
  for (const lane of [lanes.heart, lanes.uterine]) {
    ctx.fillStyle = ink.paper;
    ctx.fillRect(scene.gutter, lane.top, right - scene.gutter, lane.height);
  }
  ctx.fillStyle = ink.band;
  const top = y(lanes.heart, 160);
  ctx.fillRect(scene.gutter, top, right - scene.gutter, y(lanes.heart, 110) - top);

  const [fine, strong] = gridSteps(scene.spp);
  const offset = scene.clock.offset;
  const begin = Math.max(scene.t0, 0);
  const end = Math.min(seconds(scene, right), scene.duration);
  for (const [step, colour, skip] of [[fine, ink.grid, strong], [strong, ink.gridStrong, 0]]) {
    ctx.beginPath();
    ctx.strokeStyle = colour;
    ctx.lineWidth = 1;
    for (let k = Math.ceil((begin + offset) / step); k * step <= end + offset; k += 1) {
      if (skip && (k * step) % skip === 0) continue;
      const px = Math.round(x(scene, k * step - offset)) + 0.5;
      for (const lane of [lanes.heart, lanes.uterine]) line(ctx, px, lane.top, px, lane.top + lane.height);
    }
    ctx.stroke();
  }
  for (const lane of [lanes.heart, lanes.uterine]) {
    for (const strongLine of [false, true]) {
      ctx.beginPath();
      ctx.strokeStyle = strongLine ? ink.gridStrong : ink.grid;
      for (let v = Math.ceil(lane.least / lane.fine) * lane.fine; v <= lane.most; v += lane.fine) {
        if ((v % lane.strong === 0) !== strongLine) continue;
        const py = Math.round(y(lane, v)) + 0.5;
        line(ctx, scene.gutter, py, right, py);
      }
      ctx.stroke();
    }
  }
  // before the first and after the last second there is no paper
  ctx.fillStyle = ink.ground;
  if (scene.t0 < 0) ctx.fillRect(scene.gutter, 0, x(scene, 0) - scene.gutter, height);
  const last = x(scene, scene.duration);
  if (last < right) ctx.fillRect(last, 0, right - last, height);
}

/** The gutter at the left: scales and names of lanes; drawn last so that nothing runs under it. */
export function gutter(ctx, scene) {
  const { ink, lanes, height } = scene;
  ctx.fillStyle = ink.ground;
  ctx.fillRect(0, 0, scene.gutter, height);
  ctx.textBaseline = "middle";
  ctx.textAlign = "right";
  font(ctx, scene);
  for (const lane of [lanes.heart, lanes.uterine]) {
    ctx.fillStyle = ink.ink;
    const room = (lane.label / (lane.most - lane.least)) * lane.height;
    const every = lane.label * Math.max(1, Math.ceil((LETTER * 1.15 * scene.unit) / room));
    for (let v = Math.ceil(lane.least / every) * every; v <= lane.most; v += every) {
      const py = y(lane, v);
      if (py > lane.top + 5 && py < lane.top + lane.height - (scene.narrow ? 22 * scene.unit : 5)) ctx.fillText(String(v), scene.gutter - 8, py);
    }
  }
  ctx.textAlign = "left";
  ctx.fillStyle = ink.soft;
  font(ctx, scene);
  const name = (words, short) => (scene.narrow ? short : words);
  for (const [lane, words] of [[lanes.found, "found"], [lanes.yours, "yours"], [lanes.signal, "signal"], [lanes.squeezes, name("contractions", "contr.")]]) {
    if (lane.height) ctx.fillText(words, 6, lane.top + lane.height / 2);
  }
  // Where the scale's own numbers leave no room beside them, units stand below them.
  const unitY = (lane) => (scene.narrow ? lane.top + lane.height - 8 * scene.unit : lane.top + 10 * scene.unit);
  ctx.fillText("bpm", 6, unitY(lanes.heart));
  if (!scene.narrow || scene.uterineUnit !== "no unit") ctx.fillText(scene.uterineUnit, 6, unitY(lanes.uterine));
  if (lanes.columns.height && !scene.blind) {
    const rows = [name("contractions", "contr."), name("baseline", "basel."), name("variability", "variab."), name("acc · dec", "ac · de")];
    rows.forEach((words, row) => ctx.fillText(words, 6, lanes.columns.top + (12 + row * ROW) * scene.unit));
  }
  ctx.fillText(scene.clock.known ? "time" : "h:min", 6, lanes.time.top + lanes.time.height / 2);
  ctx.strokeStyle = ink.gridStrong;
  ctx.lineWidth = 1;
  ctx.beginPath();
  for (const lane of [lanes.heart, lanes.uterine]) line(ctx, scene.gutter - 0.5, lane.top, scene.gutter - 0.5, lane.top + lane.height);
  ctx.stroke();
}

const SAMPLES_JOINED = 1.5; // per pixel; beyond it a pixel shows its lowest to highest

/** Every sample, joined by lines; a gap stays a gap, a lone sample a dot. */
function joined(ctx, scene, lane, { pyramid, rate }, style, from, until, over) {
  const k = lane.height / (lane.most - lane.least);
  const base = lane.top + lane.most * k;
  const { samples } = pyramid;
  const first = Math.max(Math.floor(from * rate) - 1, 0);
  const last = Math.min(Math.ceil(until * rate) + 1, samples.length - 1);
  ctx.strokeStyle = style.colour;
  ctx.lineWidth = style.width;
  ctx.lineJoin = "bevel";
  ctx.setLineDash(style.dash || []);
  ctx.beginPath();
  let drawing = false;
  for (let i = first; i <= last; i += 1) {
    const v = samples[i];
    if (v !== v) {
      drawing = false;
      continue;
    }
    const px = x(scene, i / rate);
    const py = base - v * k;
    if (v > lane.most || v < lane.least) over.push([px, v > lane.most]);
    if (drawing) ctx.lineTo(px, py);
    else {
      ctx.moveTo(px, py);
      const next = samples[i + 1];
      if (next !== next || next === undefined) ctx.lineTo(px + 0.6, py);
    }
    drawing = true;
  }
  ctx.stroke();
  ctx.setLineDash([]);
}

/** One bar per pixel, from its lowest to its highest sample, reaching to its neighbour's. */
function columnsOf(ctx, scene, lane, { pyramid, rate }, style, from, until, over) {
  const perPixel = rate * scene.spp;
  const k = lane.height / (lane.most - lane.least);
  const base = lane.top + lane.most * k;
  const begin = Math.floor((from * rate) / perPixel);
  const end = Math.ceil((until * rate) / perPixel);
  // whole pixels, the same samples in each whatever the view: nothing shimmers while panning
  const left = Math.round(x(scene, (begin * perPixel) / rate));
  const thin = style.dash ? 1 : style.width;
  ctx.fillStyle = style.colour;
  let before = null;
  for (let column = begin; column < end; column += 1) {
    if (!pyramid.stretch(Math.floor(column * perPixel), Math.floor((column + 1) * perPixel))) {
      before = null;
      continue;
    }
    const { low, high } = pyramid;
    const px = left + column - begin;
    if (high > lane.most) over.push([px, true]);
    if (low < lane.least) over.push([px, false]);
    let top = base - high * k;
    let bottom = base - low * k;
    if (before) {
      top = Math.min(top, before.bottom);
      bottom = Math.max(bottom, before.top);
    }
    before = { top: base - high * k, bottom: base - low * k };
    ctx.fillRect(px, top - thin / 2, 1, Math.max(bottom - top, 0) + thin);
  }
}

/** One signal: the samples joined where they can be told apart, else lowest to highest per pixel. */
export function trace(ctx, scene, lane, signal, style) {
  const perPixel = signal.rate * scene.spp;
  const from = Math.max(scene.t0, 0);
  const until = Math.min(seconds(scene, scene.width), scene.duration);
  ctx.save();
  ctx.beginPath();
  ctx.rect(scene.gutter, lane.top, scene.width - scene.gutter, lane.height);
  ctx.clip();
  const over = [];
  if (perPixel <= SAMPLES_JOINED) joined(ctx, scene, lane, signal, style, from, until, over);
  else columnsOf(ctx, scene, lane, signal, style, from, until, over);
  // what runs off the paper is shown at its edge
  ctx.fillStyle = style.colour;
  let lastPx = -100;
  for (const [px, above] of over) {
    if (px - lastPx < 7) continue;
    lastPx = px;
    const edge = above ? lane.top : lane.top + lane.height;
    const s = above ? 1 : -1;
    ctx.beginPath();
    ctx.moveTo(px, edge + s);
    ctx.lineTo(px - 4, edge + s * 8);
    ctx.lineTo(px + 4, edge + s * 8);
    ctx.fill();
  }
  ctx.restore();
}

/** A trace's name beside its first sample in view: which fetus, or the mother. */
export function traceName(ctx, scene, lane, { samples, rate }, words, colour) {
  const until = Math.min(scene.duration, scene.t0 + scene.wide * scene.spp);
  for (let t = Math.max(scene.t0, 0); t < until; t += 1) {
    const v = samples[Math.round(t * rate)];
    if (v === undefined || v !== v || v > lane.most || v < lane.least) continue;
    font(ctx, scene, 700);
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    const px = Math.max(x(scene, t) + 3, scene.gutter + 3);
    const py = y(lane, v) - 13 * scene.unit;
    ctx.strokeStyle = scene.ink.paper;
    ctx.lineWidth = 4;
    ctx.lineJoin = "round";
    ctx.strokeText(words, px, py);
    ctx.fillStyle = colour;
    ctx.fillText(words, px, py);
    return;
  }
}

/** The signal lane: how much is missing, as black rising from below; suspicion as slanted lines. */
export function signalLane(ctx, scene, signal, artefacts) {
  const { ink, lanes } = scene;
  const lane = lanes.signal;
  const { pyramid, rate } = signal;
  const step = Math.max(scene.spp * 2, 1 / rate);
  const from = Math.max(scene.t0, 0);
  const until = Math.min(seconds(scene, scene.width), scene.duration);
  ctx.strokeStyle = ink.grid;
  ctx.lineWidth = 1;
  ctx.strokeRect(x(scene, from) + 0.5, lane.top + 0.5, (until - from) / scene.spp, lane.height - 1);
  ctx.fillStyle = ink.lost;
  for (let k = Math.floor(from / step); k * step < until; k += 1) {
    const i0 = Math.floor(k * step * rate);
    const i1 = Math.min(Math.max(Math.floor((k + 1) * step * rate), i0 + 1), pyramid.samples.length);
    if (i1 <= i0) continue;
    pyramid.stretch(i0, i1, i1 - i0 < 64);
    const lost = 1 - Math.min(pyramid.valid / (i1 - i0), 1);
    if (lost > 0.02) {
      const h = Math.max(lost * (lane.height - 2), 2);
      ctx.fillRect(x(scene, k * step), lane.top + lane.height - 1 - h, step / scene.spp + 0.4, h);
    }
  }
  ctx.save();
  ctx.strokeStyle = ink.suspect;
  ctx.lineWidth = 1.5;
  for (const item of artefacts) {
    const a = Math.max(x(scene, item.start_s), scene.gutter);
    const b = Math.min(x(scene, item.end_s), scene.width);
    if (b <= a) continue;
    ctx.beginPath();
    ctx.rect(a, lane.top, Math.max(b - a, 3), lane.height);
    ctx.save();
    ctx.clip();
    ctx.beginPath();
    for (let px = Math.floor(a / 6) * 6 - lane.height; px < b + lane.height; px += 6) line(ctx, px, lane.top + lane.height, px + lane.height, lane.top);
    ctx.stroke();
    ctx.restore();
    ctx.strokeRect(a + 0.5, lane.top + 0.5, Math.max(b - a - 1, 2), lane.height - 1);
  }
  ctx.restore();
}

/** The continuous baseline, dashed; broken where it is indeterminate. */
export function baseline(ctx, scene, curve) {
  const { ink, lanes } = scene;
  ctx.save();
  ctx.beginPath();
  ctx.rect(scene.gutter, lanes.heart.top, scene.width - scene.gutter, lanes.heart.height);
  ctx.clip();
  ctx.strokeStyle = ink.baseline;
  ctx.lineWidth = 1.8;
  ctx.setLineDash([9, 5]);
  ctx.lineDashOffset = scene.t0 / scene.spp;
  ctx.beginPath();
  const stride = Math.max(1, Math.floor((scene.spp * 2) / curve.step_s));
  let first = Math.floor((scene.t0 - curve.start_s) / curve.step_s / stride) * stride;
  first = Math.max(first, 0);
  let drawing = false;
  for (let i = first; i < curve.values.length; i += stride) {
    const v = curve.values[i];
    const px = x(scene, curve.start_s + i * curve.step_s);
    if (px > scene.width + 10) break;
    if (v === null) {
      drawing = false;
      continue;
    }
    if (drawing) ctx.lineTo(px, y(lanes.heart, v));
    else ctx.moveTo(px, y(lanes.heart, v));
    drawing = true;
  }
  ctx.stroke();
  ctx.restore();
}

const LETTERS = { acceleration: "A", early: "E", late: "L", variable: "V", prolonged: "P", "gradual, contraction not known": "G", contraction: "C" };
export const letterOf = (item) => item.letter || LETTERS[item.kind] || "•";

/** Brackets of findings or marks in one lane: hooks at the ends, the name where it fits. */
export function brackets(ctx, scene, lane, items, { below = false, named = true } = {}) {
  const { ink } = scene;
  const bar = below ? lane.top + 5 : lane.top + lane.height - 5;
  let nameEnd = -1e9;
  ctx.textBaseline = "middle";
  for (const item of items) {
    const a = x(scene, item.start_s);
    const b = Math.max(x(scene, item.end_s), a + 2);
    if (b < scene.gutter || a > scene.width) continue;
    const chosen = scene.selected === item.id;
    const colour = ink[item.tone] || ink.ink;
    ctx.strokeStyle = colour;
    ctx.lineWidth = chosen ? 4 : 2.2;
    ctx.globalAlpha = item.struck ? 0.6 : 0.55 + 0.45 * (item.certainty ?? 1);
    ctx.setLineDash(item.human ? [5, 3] : []);
    ctx.beginPath();
    if (b - a < 4 && !chosen) {
      ctx.lineWidth = 1;
      line(ctx, Math.round(a) + 0.5, bar - 4, Math.round(a) + 0.5, bar + 4);
      ctx.stroke();
      ctx.setLineDash([]);
      ctx.globalAlpha = 1;
      continue;
    }
    ctx.moveTo(a, below ? bar - 4 : bar + 5);
    ctx.lineTo(a, bar);
    ctx.lineTo(b, bar);
    ctx.lineTo(b, below ? bar - 4 : bar + 5);
    ctx.stroke();
    ctx.setLineDash([]);
    ctx.globalAlpha = 1;
    if (!named) continue;
    const room = b - a;
    const textY = below ? lane.top + lane.height - 9 * scene.unit : lane.top + 10 * scene.unit;
    font(ctx, scene, chosen ? 700 : 500);
    const options = [item.name, letterOf(item)];
    for (const words of options) {
      const wide = ctx.measureText(words).width;
      const px = Math.max((a + b) / 2 - wide / 2, scene.gutter + 2);
      const fits = words === options[0] ? wide <= Math.max(room + 26, 46 * scene.unit) : wide <= room + 8;
      if (fits && px > nameEnd + 5) {
        ctx.fillStyle = item.struck ? ink.soft : colour;
        ctx.textAlign = "left";
        ctx.fillText(words, px, textY);
        nameEnd = px + wide;
        if (item.struck) {
          ctx.beginPath();
          line(ctx, px - 2, textY, px + wide + 2, textY);
          ctx.lineWidth = 1.5;
          ctx.strokeStyle = ink.ink;
          ctx.stroke();
        }
        break;
      }
    }
  }
}

/** A chosen finding or a reason's evidence, shaded through the plots. */
export function shade(ctx, scene, start, end, colour, edges = true) {
  const { lanes } = scene;
  const a = Math.max(x(scene, start), scene.gutter);
  const b = Math.min(x(scene, end), scene.width);
  if (b <= a) return;
  const top = lanes.heart.top;
  const bottom = lanes.uterine.top + lanes.uterine.height;
  ctx.globalAlpha = 0.16;
  ctx.fillStyle = colour;
  ctx.fillRect(a, top, b - a, bottom - top);
  ctx.globalAlpha = 1;
  if (!edges) return;
  ctx.strokeStyle = colour;
  ctx.lineWidth = 1.2;
  ctx.setLineDash([2, 3]);
  ctx.beginPath();
  for (const px of [x(scene, start), x(scene, end)]) if (px >= scene.gutter) line(ctx, px, top, px, bottom);
  ctx.stroke();
  ctx.setLineDash([]);
}

/** Marks of a level (a reader's baseline): a line at its height, from start to end. */
export function levels(ctx, scene, items) {
  const { ink, lanes } = scene;
  for (const item of items) {
    if (item.value === null || item.value === undefined) continue;
    const a = Math.max(x(scene, item.start_s), scene.gutter);
    const b = Math.min(x(scene, item.end_s), scene.width);
    if (b <= a) continue;
    ctx.strokeStyle = ink[item.tone] || ink.own;
    ctx.lineWidth = scene.selected === item.id ? 4 : 2.4;
    ctx.setLineDash([3, 4]);
    ctx.beginPath();
    line(ctx, a, y(lanes.heart, item.value), b, y(lanes.heart, item.value));
    ctx.stroke();
    ctx.setLineDash([]);
  }
}

/** Contractions' peaks: small ticks on the uterine paper, joined to the rate above when chosen. */
export function peaks(ctx, scene, items) {
  const { ink, lanes } = scene;
  ctx.strokeStyle = ink.contraction;
  ctx.lineWidth = 1.6;
  ctx.beginPath();
  for (const item of items) {
    if (item.turn_s === null || item.turn_s === undefined || item.struck) continue;
    const px = x(scene, item.turn_s);
    if (px > scene.gutter && px < scene.width) line(ctx, px, lanes.squeezes.top + lanes.squeezes.height - 5, px, lanes.squeezes.top + lanes.squeezes.height + 3);
  }
  ctx.stroke();
}

/** Ten-minute columns: what a reader would write under the strip. */
export function columns(ctx, scene, cells) {
  const { ink, lanes } = scene;
  const lane = lanes.columns;
  if (!lane.height) return;
  ctx.textBaseline = "middle";
  ctx.textAlign = "center";
  ctx.strokeStyle = ink.gridStrong;
  ctx.lineWidth = 1;
  let written = 0;
  let seen = 0;
  for (const cell of cells) {
    const a = x(scene, cell.start_s);
    const b = x(scene, cell.end_s);
    if (b < scene.gutter || a > scene.width) continue;
    seen += 1;
    if (b - a < 18) continue;
    ctx.beginPath();
    line(ctx, Math.round(a) + 0.5, lane.top, Math.round(a) + 0.5, lane.top + lane.height - 4);
    line(ctx, Math.round(b) + 0.5, lane.top, Math.round(b) + 0.5, lane.top + lane.height - 4);
    ctx.stroke();
    const left = Math.max(a, scene.gutter);
    const right = Math.min(b, scene.width);
    cell.lines.forEach((options, row) => {
      font(ctx, scene, cell.marked[row] ? 700 : 400);
      const words = options.find((w) => ctx.measureText(w).width <= right - left - 6);
      if (words === undefined) return;
      written += 1;
      ctx.fillStyle = cell.marked[row] ? ink[cell.marked[row]] || ink.ink : ink.ink;
      ctx.fillText(words, (left + right) / 2, lane.top + (12 + row * ROW) * scene.unit);
    });
  }
  if (seen && !written) {
    ctx.fillStyle = ink.soft;
    font(ctx, scene);
    ctx.textAlign = "left";
    ctx.fillText("Zoom in to read the ten-minute numbers.", scene.gutter + 10, lane.top + lane.height / 2);
  }
}

export function timeAxis(ctx, scene) {
  const { ink, lanes } = scene;
  const lane = lanes.time;
  const step = labelStep(scene.spp * scene.unit);
  const offset = scene.clock.offset;
  ctx.fillStyle = ink.ink;
  ctx.textBaseline = "middle";
  ctx.textAlign = "center";
  font(ctx, scene);
  ctx.strokeStyle = ink.gridStrong;
  ctx.beginPath();
  const end = Math.min(seconds(scene, scene.width), scene.duration);
  for (let k = Math.ceil((Math.max(scene.t0, 0) + offset) / step); k * step <= end + offset; k += 1) {
    const at = k * step - offset;
    const px = x(scene, at);
    line(ctx, Math.round(px) + 0.5, lane.top, Math.round(px) + 0.5, lane.top + 5);
    const words = scene.clock.text(at, step < 60);
    const half = ctx.measureText(words).width / 2;
    const middle = Math.min(px, scene.width - half - 2);
    if (px > scene.gutter + half * 0.6) ctx.fillText(words, middle, lane.top + lane.height / 2 + 3);
  }
  ctx.stroke();
}

/** The whole recording at the foot, with the shown part framed. */
export function overview(ctx, scene, picture) {
  const { ink, lanes } = scene;
  const lane = lanes.whole;
  const wide = scene.width - scene.gutter;
  ctx.drawImage(picture, scene.gutter, lane.top, wide, lane.height);
  const px = (s) => scene.gutter + (s / scene.duration) * wide;
  const a = Math.max(px(scene.t0), scene.gutter);
  const b = Math.min(Math.max(px(Math.min(seconds(scene, scene.width), scene.duration)), a + 6), scene.width - 1);
  ctx.fillStyle = ink.veil;
  ctx.fillRect(scene.gutter, lane.top, a - scene.gutter, lane.height);
  ctx.fillRect(b, lane.top, scene.width - b, lane.height);
  ctx.strokeStyle = ink.accent;
  ctx.lineWidth = 2.5;
  ctx.strokeRect(a + 1, lane.top + 1, b - a - 2, lane.height - 2);
  if (scene.window) {
    ctx.fillStyle = ink.accent;
    ctx.fillRect(px(scene.window[0]), lane.top + lane.height - 4, Math.max(px(scene.window[1]) - px(scene.window[0]), 2), 4);
  }
}

export function overviewPicture(scene, signals, wide, high, dpr) {
  const picture = document.createElement("canvas");
  picture.width = Math.max(Math.round(wide * dpr), 1);
  picture.height = Math.round(high * dpr);
  const ctx = picture.getContext("2d");
  ctx.scale(dpr, dpr);
  ctx.fillStyle = scene.ink.paper;
  ctx.fillRect(0, 0, wide, high);
  for (const signal of signals) {
    const per = (scene.duration * signal.rate) / wide;
    ctx.fillStyle = signal.colour;
    ctx.globalAlpha = 0.85;
    const { least, most } = scene.lanes.heart;
    for (let px = 0; px < wide; px += 1) {
      if (!signal.pyramid.stretch(Math.floor(px * per), Math.max(Math.floor((px + 1) * per), Math.floor(px * per) + 1))) continue;
      const top = ((most - Math.min(signal.pyramid.high, most)) / (most - least)) * high;
      const bottom = ((most - Math.max(signal.pyramid.low, least)) / (most - least)) * high;
      ctx.fillRect(px, top, 1, Math.max(bottom - top, 1));
    }
  }
  return picture;
}
