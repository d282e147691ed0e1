// The bedside: one case, played step by step. Everything the learner does is one step sent to the
// workbench; what comes back is the whole state, so that the page never guesses.
import { Abdomen } from "./abdomen.js";
import { bytes, get, send, tellProblem } from "../api.js";
import { Ear } from "./ear.js";
import { wireHandover } from "./handover.js";
import { Hands } from "./hands.js";
import { wireListening } from "./listening.js";
import { addSure, sureOf } from "./sure.js";
import { Strip } from "../strip/strip.js";
import { wireTools } from "../strip/tools.js";

const bedside = document.getElementById("bedside");
const key = bedside.dataset.key;
const own = bedside.dataset.own === "yes";
const path = `/api/teach/attempts/${key}`;
const el = (id) => document.getElementById(id);
const GRIP_WORDS = {
  look: "Touch the abdomen anywhere: you look along it from the side.",
  ask: "Touch the abdomen anywhere: you ask her where she feels the kicks.",
  "first grip": "Both hands round the fundus.",
  "second grip": "One hand steadies, the other feels down the flank; also the middle and the iliac fossae.",
  "third grip": "Thumb and fingers of one hand, just above the pubic bone.",
  "fourth grip": "Facing her feet, the fingers of both hands towards the inlet.",
};
const GRIP_PLACES = {
  look: ["fundus", "left flank", "right flank", "around the umbilicus", "left iliac fossa", "right iliac fossa", "above the pubic bone"],
  "first grip": ["fundus"],
  "second grip": ["left flank", "right flank", "around the umbilicus", "left iliac fossa", "right iliac fossa"],
  "third grip": ["above the pubic bone"],
  "fourth grip": ["above the pubic bone"],
};
GRIP_PLACES.ask = GRIP_PLACES.look;

let state = null;
let busy = false;
let strip = null;
let stripLength = "";
let hands = null;
let twoHands = null;
let handover = null;
let sensors = null;
const heardAt = [];

// One after another: what is done while a step is under way comes after it, and is not lost.
let line = Promise.resolve(null);

function step(data) {
  line = line.then(() => take(data));
  return line;
}

async function take(data) {
  if (!own || state.finished) return null;
  busy = true;
  bedside.setAttribute("aria-busy", "true");
  try {
    state = await send("POST", `${path}/steps`, data);
    await show();
    return state;
  } catch (error) {
    tellProblem(error);
    return null;
  } finally {
    busy = false;
    bedside.removeAttribute("aria-busy");
    // A button that went out of use took the focus along: it goes to what came of the step.
    if (document.activeElement === document.body) el("latest").focus({ preventScroll: true });
  }
}

// -- what is shown ---------------------------------------------------------------------------

async function show() {
  if (state.finished) {
    location.assign(`/teach/attempts/${key}/debrief`);
    return;
  }
  el("clock").textContent = state.monitors && state.traces.length ? `Minute ${Math.floor(state.minute)} of the strip` : "";
  showLog();
  hands?.setSensors({ heart: state.heart_sensor, contraction: state.contraction_sensor });
  sensors?.setSensors({ heart: state.heart_sensor, contraction: state.contraction_sensor });
  showFelt();
  showHeard();
  if (el("concluded")) el("concluded").textContent = state.concluded ? "Said. You may say it anew until you finish." : "";
  if (el("decided")) el("decided").textContent = state.decided_internal ? "Decided. You may decide anew until you finish." : "";
  for (const button of document.querySelectorAll("[data-measure]")) button.setAttribute("aria-pressed", String(state.chosen.includes(button.dataset.measure)));
  for (const button of document.querySelectorAll("[data-person]")) button.setAttribute("aria-pressed", String(state.told.includes(button.dataset.person)));
  for (const button of document.querySelectorAll("[data-threat]")) button.setAttribute("aria-pressed", String(state.recognised.includes(button.dataset.threat)));
  if (el("counted")) el("counted").textContent = state.concluded_counts ? "Said. You may say it anew until you finish." : `Listened ${state.counted} time${state.counted === 1 ? "" : "s"}.`;
  if (el("handed")) el("handed").textContent = state.handed_over ? "Said. You may say it anew until you finish." : "";
  showReading();
  showMissing();
  await showStrip();
}

function showLog() {
  const list = el("log");
  const items = state.log.filter((one) => one.kind !== "end");
  list.replaceChildren(...items.map((one) => {
    const li = document.createElement("li");
    const said = document.createElement("strong");
    said.textContent = one.said;
    const text = document.createElement("span");
    text.textContent = one.text;
    li.append(said, text);
    for (const words of one.guidance) {
      const line = document.createElement("span");
      line.className = "guidance";
      line.textContent = words;
      li.append(line);
    }
    return li;
  }));
  const last = items.at(-1);
  el("latest").textContent = last ? [last.text, ...last.guidance].join(" ") : "Nothing yet.";
  list.scrollTop = list.scrollHeight;
}

function showFelt() {
  if (!hands) return;
  const grip = document.querySelector('input[name="grip"]:checked').value;
  const felt = state.log.filter((one) => one.kind === "hands").map((one) => one.said.toLowerCase());
  hands.setZones(GRIP_PLACES[grip], GRIP_PLACES[grip].filter((zone) => felt.includes(`${grip}, ${zone}`)));
  el("grip-words").textContent = GRIP_WORDS[grip];
  if (twoHands && twoHands.grip !== grip) twoHands.setGrip(grip);
}

function showHeard() {
  sensors?.setMarks(heardAt);
}

function showReading() {
  const words = el("window-words");
  if (!words) return;
  const minutes = state.case.minutes_before_reading;
  const [from, to] = state.window;
  if (state.read) words.textContent = "Your reading is kept. It is compared with the truth at the end.";
  else if (!state.ready_to_read) words.textContent = `${minutes} minutes of strip are read here. ${state.traces.length ? `There are ${Math.floor(state.minute)} so far; let the labour go on.` : "Lay the sensors first."}`;
  else words.textContent = `Read ${clock(from)} to ${clock(to)}, blind: choose Mark on the strip and draw across what you see, or add marks by their times.`;
  el("read-now").disabled = state.read || !state.ready_to_read;
  el("read-words").textContent = state.read ? "Given." : "";
  if (strip) strip.setWindow(state.ready_to_read ? { start_s: from, end_s: to } : null);
}

function showMissing() {
  const asks = state.case.asks;
  const missing = [];
  if (asks.includes("hands") && !state.concluded) missing.push("You have not said how the baby lies.");
  if (asks.includes("sensors") && !state.heart_sensor) missing.push("The heart sensor has not been laid.");
  if (asks.includes("auscultation") && !state.concluded_counts) missing.push("You have not said what you heard at intervals.");
  if (asks.includes("handover") && !state.handed_over) missing.push("You have not handed over.");
  if (asks.includes("internal") && !state.decided_internal) missing.push("You have not decided on internal sensors.");
  if (asks.includes("strip") && !state.read) missing.push("You have not given your reading.");
  if (asks.includes("measures") && !state.chosen.length && !state.told.length) missing.push("You have chosen nothing and told nobody.");
  el("missing").replaceChildren(...missing.map((words) => {
    const li = document.createElement("li");
    li.className = "note caution-note";
    li.textContent = words;
    return li;
  }));
}

function clock(seconds) {
  const s = Math.max(0, Math.round(seconds));
  return `${Math.floor(s / 3600)}:${String(Math.floor(s / 60) % 60).padStart(2, "0")}:${String(s % 60).padStart(2, "0")}`;
}

// -- the strip ---------------------------------------------------------------------------------

async function showStrip() {
  el("wait").hidden = state.last_minute - state.minute < 1 / 60;
  el("wait-until").hidden = state.read || state.ready_to_read || !state.case.asks.includes("strip");
  for (const button of document.querySelectorAll("[data-wait], #run")) button.disabled = !own || !state.traces.length || state.minute >= state.last_minute - 1 / 60;
  const shape = JSON.stringify([state.traces.map((t) => [t.kind, t.count, t.sensor]), state.heart_sensor, state.contraction_sensor]);
  if (!state.duration_s || !state.traces.length || shape === stripLength) return;
  stripLength = shape;
  const traces = await Promise.all(state.traces.map(async (t) => ({ ...t, fetus: 1, samples: new Float32Array(await bytes(t.samples_href)) })));
  const first = !strip;
  if (first) {
    strip = new Strip(el("strip"), { label: "The strip of this case", columns: false });
    strip.setBlind(true);
  }
  const speed = strip.speed;
  strip.load({ duration_s: state.duration_s, start: null, traces });
  if (first) wireStrip();
  else strip.paper(speed);
  const toRead = state.ready_to_read && !state.read;
  strip.goto(toRead ? state.window[0] : state.duration_s - strip.wide * strip.spp * 0.97, strip.spp, false);
  strip.setItems(items());
  showReading();
}

function wireStrip() {
  const bar = el("tools");
  bar.querySelector('[data-tool="correct"]')?.remove();
  bar.querySelector('[data-act="blind"]')?.remove();
  const canMark = state.case.asks.includes("strip");
  if (!canMark) bar.querySelector('[data-tool="mark"]')?.remove();
  wireTools(strip, bar, {
    hand: canMark ? { mark: markKinds().map((kind) => ({ kind, words: kind })) } : {},
    onSpan: (_, kind, detail) => addMark(kind, detail.start_s, detail.end_s),
  });
  strip.addEventListener("actions", ({ detail }) => {
    if (detail.item.layer !== "own") return;
    const button = document.createElement("button");
    button.textContent = "Take away";
    button.addEventListener("click", () => removeMark(detail.item.id));
    detail.box.append(button);
  });
}

// -- marks -------------------------------------------------------------------------------------

const DRAFT = `ebbline.case.${key}`;
const draft = JSON.parse(sessionStorage.getItem(DRAFT) || '{"marks":[],"fields":{}}');
let marks = draft.marks;
let nextMark = marks.reduce((most, one) => Math.max(most, one.id), 0) + 1;

const markKinds = () => [...el("mark-by-kind").options].map((o) => o.value);

function keepDraft() {
  const form = el("reading");
  const fields = form ? Object.fromEntries([...new FormData(form)]) : {};
  sessionStorage.setItem(DRAFT, JSON.stringify({ marks, fields }));
}

function items() {
  return marks.map((mark) => ({
    id: `m${mark.id}`, layer: "own", plot: mark.kind === "contraction" ? "uterine" : "heart", kind: mark.kind,
    name: mark.kind, title: mark.kind, letter: mark.kind[0].toUpperCase(), tone: "own", start_s: mark.start_s, end_s: mark.end_s, details: [],
  }));
}

function addMark(kind, start_s, end_s) {
  if (!kind || state.read) return;
  marks.push({ id: nextMark, kind, start_s: Math.round(start_s * 10) / 10, end_s: Math.round(end_s * 10) / 10 });
  nextMark += 1;
  showMarks();
}

function removeMark(id) {
  marks = marks.filter((mark) => `m${mark.id}` !== id);
  strip?.hidePop();
  showMarks();
}

function showMarks() {
  if (!el("mark-list")) return;
  marks.sort((a, b) => a.start_s - b.start_s);
  el("mark-count").textContent = marks.length;
  el("mark-list").replaceChildren(...marks.map((mark) => {
    const li = document.createElement("li");
    li.className = "item-row";
    const words = document.createElement("span");
    words.textContent = `${clock(mark.start_s)} to ${clock(mark.end_s)} ${mark.kind}`;
    const away = document.createElement("button");
    away.type = "button";
    away.className = "quiet";
    away.textContent = "Take away";
    away.setAttribute("aria-label", `Take away ${words.textContent}`);
    away.addEventListener("click", () => removeMark(`m${mark.id}`));
    li.append(words, away);
    return li;
  }));
  strip?.setItems(items());
  keepDraft();
}

function seconds(text) {
  const parts = text.trim().split(":").map(Number);
  if (!parts.length || parts.some((n) => !Number.isFinite(n)) || parts.length > 3) return NaN;
  return parts.reduce((total, n) => total * 60 + n, 0);
}

// -- tabs --------------------------------------------------------------------------------------

const tabs = [...document.querySelectorAll('[role="tab"]')];

function openTab(tab, focus = false) {
  for (const one of tabs) {
    const here = one === tab;
    one.setAttribute("aria-selected", String(here));
    one.tabIndex = here ? 0 : -1;
    el(one.getAttribute("aria-controls")).hidden = !here;
  }
  const name = tab.id.slice(4);
  const withStrip = state?.monitors && ["sensors", "strip", "measures", "internal"].includes(name);
  document.querySelector(".bench").dataset.tab = name;
  el("strip-place").hidden = !withStrip;
  if (withStrip && strip) {
    strip.layout();
    strip.goto(strip.t0, strip.spp, false);
  }
  history.replaceState(null, "", `#${name}`);
  if (name === "handover" && state) handover.load();
  if (name !== "sensors") ear.hush();
  if (focus) tab.focus();
}

for (const tab of tabs) {
  tab.addEventListener("click", () => openTab(tab));
  tab.addEventListener("keydown", (event) => {
    const move = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    const goal = event.key === "Home" ? 0 : event.key === "End" ? tabs.length - 1 : move ? (tabs.indexOf(tab) + move + tabs.length) % tabs.length : null;
    if (goal === null) return;
    event.preventDefault();
    openTab(tabs[goal], true);
  });
}
document.querySelector("[data-next]").addEventListener("click", () => openTab(tabs[1], true));

// -- what the learner does ---------------------------------------------------------------------

function wire() {
  for (const radio of document.querySelectorAll('input[name="grip"]')) radio.addEventListener("change", showFelt);
  hands?.addEventListener("zone", ({ detail }) => {
    const grip = document.querySelector('input[name="grip"]:checked').value;
    step({ step: "feel", grip, zone: detail.zone }).then((after) => after && twoHands?.felt(after.log.at(-1).touch));
  });
  wireEar();
  sensors?.addEventListener("point", async ({ detail }) => {
    const what = document.querySelector('input[name="lay"]:checked').value;
    const after = await step({ step: what, ...detail });
    if (after && what === "listen") {
      const text = after.log.at(-1).text;
      const clear = text.startsWith("Clear") ? 3 : text.startsWith("Faint") ? 2 : text.startsWith("A hint") ? 1 : 0;
      heardAt.push({ ...detail, kind: `heard${clear}`, words: text });
      showHeard();
    }
  });
  el("conclude")?.addEventListener("submit", (event) => {
    event.preventDefault();
    /** @type {Record<string, any>} */
    const given = Object.fromEntries([...new FormData(event.target)].map(([name, value]) => [name, value === "" ? null : value]));
    if (given.fifths !== null) given.fifths = Number(given.fifths);
    step({ step: "conclude", answer: { ...given, sure: sureOf(event.target) } });
  });
  el("conclude")?.elements.presentation.addEventListener("change", (event) => {
    const shoulder = event.target.value === "shoulder";
    el("position-label").textContent = shoulder ? "Position (the side of the head, and where the back looks)" : "Position (towards where the denominator points)";
  });
  el("internal")?.addEventListener("submit", (event) => {
    event.preventDefault();
    const given = new FormData(event.target);
    const said = (name) => (given.get(name) === null ? null : given.get(name) === "yes");
    step({ step: "decide internal", answer: { electrode: said("electrode"), catheter: said("catheter"), sure: sureOf(event.target) } });
  });
  for (const button of document.querySelectorAll("[data-measure]")) button.addEventListener("click", () => step({ step: "choose", measure: button.dataset.measure }));
  for (const button of document.querySelectorAll("[data-person]")) button.addEventListener("click", () => step({ step: "tell", person: button.dataset.person }));
  for (const button of document.querySelectorAll("[data-threat]")) button.addEventListener("click", () => step({ step: "recognise", threat: button.dataset.threat }));
  for (const button of document.querySelectorAll("[data-hint]")) button.addEventListener("click", () => step({ step: "hint", about: button.dataset.hint }));
  el("twins")?.addEventListener("submit", (event) => {
    event.preventDefault();
    const given = Object.fromEntries([...new FormData(event.target)].map(([name, value]) => [name, value === "" ? null : name.endsWith("bpm") ? Number(value) : value]));
    step({ step: "conclude twins", answer: given });
  });
  if (el("conclude")) addSure(el("conclude"), Object.fromEntries(["lie", "presentation", "position", "attitude", "fifths"].map((name) => [name, name])));
  if (el("internal")) addSure(el("internal"), { electrode: "scalp electrode", catheter: "pressure catheter" });
  if (el("reading")) addSure(el("reading"), { baseline: "baseline", variability: "variability", sinusoidal: "sinusoidal", tachysystole: "tachysystole", label: "class" });
  wireListening({ path, step, isOwn: () => own });
  handover = wireHandover({ path, step });
  el("run").addEventListener("click", () => letRun(!running));
  el("wait").addEventListener("click", async (event) => {
    const asked = event.target.closest("[data-wait]")?.dataset.wait;
    if (!asked) return;
    const left = state.case.minutes_before_reading - state.minute;
    const minutes = asked === "until" ? Math.min(left, state.case.longest_wait) : Number(asked);
    if (minutes > 0) await step({ step: "wait", minutes });
  });
  el("finish").addEventListener("click", () => step({ step: "finish" }));
  wireReading();
}

// -- the ear: what lies under the sensor while it is moved ----------------------------------------

const ear = new Ear((loud) => {
  const light = el("ear-light");
  if (!light) return;
  light.style.opacity = String(0.25 + 0.75 * loud);
  light.classList.add("lit");
  setTimeout(() => light.classList.remove("lit"), 110);
});
let asking = false;
let wanted = null;

async function listenAt(place) {
  wanted = place;
  if (asking) return;
  asking = true;
  while (wanted) {
    const { x_cm, y_cm } = wanted;
    wanted = null;
    const found = await get(`${path}/ear?x_cm=${x_cm}&y_cm=${y_cm}`).catch(() => null);
    if (found && document.querySelector(".bench").dataset.tab === "sensors") {
      ear.hear(found);
      if (el("ear-words").textContent !== found.words) el("ear-words").textContent = found.words;
    }
  }
  asking = false;
}

function wireEar() {
  if (!sensors) return;
  sensors.addEventListener("moving", ({ detail }) => listenAt(detail));
  sensors.addEventListener("away", () => {
    // What lies there goes on being heard; a hand that was lifted hears nothing.
    if (state.heart_sensor) listenAt(state.heart_sensor);
    else {
      wanted = null;
      ear.hush();
      el("ear-words").textContent = "Nothing is heard: the sensor is lifted.";
    }
  });
  const button = el("sound");
  button.addEventListener("click", () => {
    const on = button.getAttribute("aria-pressed") !== "true";
    ear.sound(on);
    button.setAttribute("aria-pressed", String(on));
    button.textContent = on ? "Mute" : "Sound";
  });
}

// -- the labour runs by itself: half a minute at a time -------------------------------------------

const RUN_MINUTES = 0.5;
const RUN_EVERY_MS = 2500;
let running = null;

function letRun(on) {
  clearInterval(running);
  running = on ? setInterval(runOn, RUN_EVERY_MS) : null;
  el("run").setAttribute("aria-pressed", String(on));
  el("run").textContent = on ? "Stop" : "Let it run";
  if (on) runOn();
}

async function runOn() {
  if (busy) return;
  const left = state.last_minute - state.minute;
  if (left < 1 / 60 || !(await step({ step: "wait", minutes: Math.min(RUN_MINUTES, left) }))) letRun(false);
}

function wireReading() {
  const form = el("reading");
  if (!form) return;
  for (const [name, value] of Object.entries(draft.fields)) {
    const field = form.elements[name];
    if (field?.type === "checkbox") field.checked = true;
    else if (field) field.value = value;
  }
  form.addEventListener("input", keepDraft);
  el("mark-add").addEventListener("click", () => {
    const from = seconds(el("mark-from").value);
    const to = seconds(el("mark-to").value);
    if (!(to > from)) {
      el("read-words").textContent = "Give two times, such as 0:12:30 and 0:13:10.";
      return;
    }
    el("read-words").textContent = "";
    addMark(el("mark-by-kind").value, from, to);
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const given = new FormData(form);
    const yes = (name) => ({ yes: true, no: false }[given.get(name)] ?? null);
    const baseline = given.get("baseline");
    const answer = {
      window: { start_s: state.window[0], end_s: state.window[1] },
      standard: state.case.standard,
      baseline_bpm: baseline ? Number(baseline) : null,
      no_baseline: given.get("no_baseline") !== null,
      variability: given.get("variability") || null,
      sinusoidal: yes("sinusoidal"),
      tachysystole: yes("tachysystole"),
      label: given.get("label") || null,
      marks: marks.map(({ kind, start_s, end_s }) => ({ kind, start_s, end_s })),
      sure: sureOf(form),
    };
    await step({ step: "read strip", answer });
  });
}

try {
  state = await get(path);
  const drawn = el("drawn") ? JSON.parse(el("drawn").textContent) : null;
  if (el("abdomen-hands") && drawn) hands = new Abdomen(el("abdomen-hands"), drawn, { zones: true, label: "The abdomen, places to feel" });
  if (hands) twoHands = new Hands(hands, el("hands-controls"));
  if (el("abdomen-sensors") && drawn) sensors = new Abdomen(el("abdomen-sensors"), drawn, { label: "The abdomen, places to listen and for the sensors" });
  wire();
  showMarks();
  const asked = el(`tab-${location.hash.slice(1)}`);
  openTab(asked && tabs.includes(asked) ? asked : tabs[0]);
  await show();
} catch (error) {
  tellProblem(error);
}
