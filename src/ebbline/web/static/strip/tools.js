// The toolbar of a strip (templates/strip_tools.html): speed, zoom, travel, tools, blind, the wall,
// and the screen's true scale. Pages say what marking means to them.
import { SPEEDS, bpmPerCm, isCalibrated, keepPixelsPerCm, pixelsPerCm, span } from "./paper.js";

const SPEED_KEY = "ebbline.speed";

/**
 * strip, bar: the viewer and its toolbar. hand: the kinds that can be marked, by tool:
 * { mark: [{ kind, words, level }] }. onSpan(tool, kind, detail), onBlind(blind) are told. acts, keys:
 * what a page adds, by data-act and by key.
 * @param {*} strip @param {*} bar
 * @param {{ hand?: Record<string, any>, onSpan?: (...told: any[]) => void, onBlind?: (blind: boolean) => void,
 *   acts?: Record<string, () => void>, keys?: Record<string, () => void> }} [options]
 */
export function wireTools(strip, bar, { hand = {}, onSpan, onBlind, acts: more = {}, keys: moreKeys = {} } = {}) {
  const scaleWords = document.getElementById("scale-words");
  const measureWords = document.getElementById("measure-words");
  const kindBox = bar.querySelector("#mark-kind-box");
  const kinds = bar.querySelector("#mark-kind");
  let tool = "travel";

  const button = (selector) => bar.querySelector(selector);

  function sayScale() {
    for (const speed of SPEEDS) {
      const pressed = strip.speed === speed && Math.abs(strip.cmPerMin - speed) < 0.005;
      button(`[data-speed="${speed}"]`)?.setAttribute("aria-pressed", String(pressed));
    }
    const speed = strip.cmPerMin;
    const shown = strip.shown;
    const asPaper = Math.abs(speed - strip.speed) < 0.005;
    // Only a screen that was measured can be true to scale; the browser's own idea is a guess.
    const scale = isCalibrated() ? "true scale" : "scale not measured on this screen";
    const along = asPaper ? `${strip.speed} cm/min` : `${speed < 0.1 ? speed.toFixed(3) : speed.toFixed(2)} cm/min`;
    const how = strip.onPaper ? `${bpmPerCm(strip.speed)} bpm/cm, ${scale}` : asPaper ? `${scale}, heights fitted to the screen` : "not true scale";
    scaleWords.textContent = `${along}, ${how} · ${span(shown.end_s - shown.start_s)} shown`;
  }

  function takeSpeed(speed) {
    localStorage.setItem(SPEED_KEY, String(speed));
    strip.paper(speed);
    sayScale();
  }

  function take(name) {
    tool = hand[name] || name === "measure" || name === "travel" ? name : "travel";
    for (const one of bar.querySelectorAll("[data-tool]")) one.setAttribute("aria-pressed", String(one.dataset.tool === tool));
    const choices = hand[tool];
    kindBox.hidden = !choices;
    if (choices) {
      kinds.replaceChildren(...choices.map(({ kind, words }) => new Option(words, kind)));
    }
    hold();
    measureWords.textContent = { measure: "Draw across the strip: time, beats and area appear here.", travel: "" }[tool] ?? "Draw across what you see; it is kept when you let go.";
  }

  function hold() {
    const choice = hand[tool]?.find((one) => one.kind === kinds.value);
    strip.setTool(choice ? (choice.level ? "level" : "span") : tool);
    strip.canvas.focus({ preventScroll: true });
  }

  function blind(wanted) {
    button('[data-act="blind"]')?.setAttribute("aria-checked", String(wanted));
    strip.setBlind(wanted);
    onBlind?.(wanted);
  }

  function wall() {
    const wide = document.documentElement.classList.toggle("wall");
    button('[data-act="wall"]').setAttribute("aria-pressed", String(wide));
    strip.tall = wide;
    strip.layout();
    strip.goto(strip.t0, strip.spp, false);
    sayScale();
  }

  const acts = {
    in: () => strip.zoom(1 / 1.6),
    out: () => strip.zoom(1.6),
    all: () => strip.all(),
    next: () => strip.travel(1),
    previous: () => strip.travel(-1),
    blind: () => blind(!strip.blind),
    wall,
    calibrate: () => calibrate(() => takeSpeed(strip.speed)),
    ...more,
  };
  document.querySelector(".strip-foot [data-act='calibrate']")?.addEventListener("click", acts.calibrate);

  bar.addEventListener("click", (event) => {
    const one = event.target.closest("button");
    if (!one) return;
    if (one.dataset.speed) takeSpeed(Number(one.dataset.speed));
    else if (one.dataset.tool) take(one.dataset.tool);
    else acts[one.dataset.act]?.();
  });
  kinds?.addEventListener("change", hold);
  strip.addEventListener("speed", (event) => takeSpeed(event.detail.speed));
  strip.addEventListener("view", sayScale);
  strip.addEventListener("tool", (event) => {
    if (event.detail.tool === "travel" && tool !== "travel") take("travel");
  });
  strip.addEventListener("key", ({ detail }) => {
    const act = { c: () => take("measure"), m: () => take("mark"), k: () => take("correct"), b: acts.blind, w: wall, ...moreKeys }[detail.key];
    if (!act) return;
    act();
    detail.event.preventDefault();
  });
  strip.addEventListener("measure", ({ detail }) => {
    measureWords.textContent = measured(detail);
  });
  strip.addEventListener("span", ({ detail }) => onSpan?.(tool, kinds?.value, detail));

  const kept = Number(localStorage.getItem(SPEED_KEY));
  strip.paper(SPEEDS.includes(kept) ? kept : 1, false);
  sayScale();
  return { take, blind, sayScale };
}

function measured(m) {
  const parts = [span(m.seconds), `${m.bpm > 0 ? "+" : ""}${Math.round(m.bpm)} bpm between the lines`];
  if (m.lowest === m.lowest && m.lowest !== undefined) {
    parts.push(`trace ${Math.round(m.lowest)} to ${Math.round(m.highest)} bpm`);
    parts.push(`area ${Math.round(m.area)} bpm·s below ${m.against}`);
    if (m.valid < 0.995) parts.push(`${Math.floor(m.valid * 100)} % of it had signal`);
  } else parts.push("no signal there");
  return parts.join(" · ");
}

/** Ask how long a line is on this screen, by laying a card or a ruler on it. */
function calibrate(done) {
  const box = document.createElement("dialog");
  const CARD_CM = 8.56;
  box.setAttribute("aria-labelledby", "measure-title");
  const title = Object.assign(document.createElement("h2"), { id: "measure-title", textContent: "Measure this screen" });
  const words = Object.assign(document.createElement("p"), {
    textContent: "Lay a bank card (8.56 cm wide) or a ruler on the bar, and move the slider until the bar is as wide as the card. Kept for this screen only.",
  });
  const bar = document.createElement("div");
  bar.className = "card-bar";
  const slider = Object.assign(document.createElement("input"), { type: "range", min: 20, max: 90, step: 0.1 });
  slider.value = String(pixelsPerCm());
  slider.setAttribute("aria-label", "Width of the bar");
  const said = Object.assign(document.createElement("p"), { className: "soft" });
  const show = () => {
    bar.style.width = `${Number(slider.value) * CARD_CM}px`;
    said.textContent = `${Number(slider.value).toFixed(1)} pixels make one centimetre.`;
  };
  slider.addEventListener("input", show);
  show();
  const end = document.createElement("div");
  end.className = "dialog-end";
  const leave = Object.assign(document.createElement("button"), { textContent: "Leave as it is" });
  const keep = Object.assign(document.createElement("button"), { textContent: "Keep", className: "main-action" });
  leave.addEventListener("click", () => box.close());
  keep.addEventListener("click", () => {
    keepPixelsPerCm(Number(slider.value));
    box.close();
    done();
  });
  end.append(leave, keep);
  box.append(title, words, bar, slider, said, end);
  box.addEventListener("close", () => box.remove());
  document.body.append(box);
  box.showModal();
}
