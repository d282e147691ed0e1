// Listening: tap with each beat, or count; before, through and after a contraction.
import { send, tell } from "/static/api.js";
import { iso, keep, kept, showOutbox, steppers, write } from "./outbox.js";
import "./danger.js";

const root = document.getElementById("listen");
const caseNumber = root.dataset.case;
const key = `ebbline-record-listening-${caseNumber}`;
const form = document.getElementById("heard");
const pad = document.getElementById("pad");
const live = document.getElementById("live");
const phases = document.getElementById("phases");
const start = { mode: "tap", taps: [], begins: null, ends: null, counted: {}, from: null };
let state = { ...start, ...(kept(key) || {}) };
// Clicks' own clock runs on from page to page only by the wall clock.
const seconds = () => Date.now() / 1000;

function store() {
  const fields = Object.fromEntries([...new FormData(form)].filter(([, v]) => String(v).trim()));
  keep(key, { ...state, fields });
}

function phaseOf(t) {
  if (state.begins === null || t < state.begins) return "before";
  return state.ends === null || t < state.ends ? "during" : "after";
}

/** The rate as it goes, from the last eight intervals; the server's own answer is what is saved. */
function quick(taps) {
  const last = taps.slice(-9);
  if (last.length < 4) return null;
  const gaps = last.slice(1).map((t, i) => t - last[i]).sort((a, b) => a - b);
  const middle = gaps[gaps.length >> 1];
  return middle > 0 ? 60 / middle : null;
}

function draw() {
  const now = phaseOf(seconds());
  for (const item of phases.children) {
    const name = item.dataset.phase;
    const own = state.taps.filter((t) => phaseOf(t) === name);
    const counted = state.counted[name];
    const length = counted ? counted.seconds : own.length > 1 ? own[own.length - 1] - own[0] : 0;
    // A rate stands here only where enough was tapped for it to be saved.
    const enough = own.length >= Number(root.dataset.taps) && length >= Number(root.dataset.tapped);
    const rate = counted ? counted.bpm : enough ? quick(own) : null;
    item.querySelector("strong").textContent = rate ? Math.round(rate) : "–";
    item.querySelector(".soft").textContent = `${Math.floor(length)} s${!counted && own.length && !enough ? ", too short yet" : ""}`;
    item.classList.toggle("here", name === now);
  }
  const rate = quick(state.taps);
  live.textContent = state.taps.length === 0 ? "Tap here with each beat" : rate ? `${Math.round(rate)} bpm` : "…";
  document.getElementById("begins").disabled = state.begins !== null;
  document.getElementById("ends").disabled = state.begins === null || state.ends !== null;
  const after = state.taps.filter((t) => phaseOf(t) === "after");
  const whole = state.taps.length > 1 ? state.taps[state.taps.length - 1] - state.taps[0] : 0;
  const words = document.getElementById("pad-words");
  const afterS = after.length > 1 ? after[after.length - 1] - after[0] : 0;
  if (!state.taps.length) words.textContent = "or press the space bar";
  else if (state.begins === null) words.textContent = "before the contraction; touch “begins” when it comes";
  else if (state.ends === null) words.textContent = "through the contraction; touch “ends” when it goes";
  else if (afterS < Number(root.dataset.after) || whole < Number(root.dataset.least)) words.textContent = `after it: ${Math.max(0, Math.ceil(Math.max(Number(root.dataset.after) - afterS, Number(root.dataset.least) - whole)))} s more`;
  else words.textContent = "long enough; go on, or save";
}

function tap() {
  const t = seconds();
  const last = state.taps[state.taps.length - 1];
  if (last !== undefined && t <= last) return;
  if (state.taps.length >= 4000) return;
  state.taps.push(t);
  pad.classList.add("hit");
  setTimeout(() => pad.classList.remove("hit"), 80);
  draw();
  if (state.taps.length % 5 === 0) store();
}
pad.addEventListener("pointerdown", (event) => {
  event.preventDefault();
  tap();
});
document.addEventListener("keydown", (event) => {
  if (event.code === "Space" && state.mode === "tap" && !event.target.closest("input, textarea, .chip") && (event.target === pad || !event.target.closest("button, a, summary"))) {
    event.preventDefault();
    if (!event.repeat) tap();
  }
});
document.getElementById("begins").addEventListener("click", () => {
  state.begins = seconds();
  store();
  draw();
});
document.getElementById("ends").addEventListener("click", () => {
  state.ends = seconds();
  store();
  draw();
});
document.getElementById("again").addEventListener("click", () => {
  state = { ...start, taps: [], counted: {}, mode: state.mode };
  store();
  draw();
});

// ---------------------------------------------------------------- counting

let wanted = 60;
let to = "after";
let timer = null;
const left = document.getElementById("count-left");
const beats = document.getElementById("beats");
function mode(name) {
  state.mode = name;
  document.getElementById("tapping").hidden = name !== "tap";
  document.getElementById("counting").hidden = name !== "count";
  for (const one of document.querySelectorAll("[data-mode]")) one.setAttribute("aria-pressed", String(one.dataset.mode === name));
}
for (const one of document.querySelectorAll("[data-mode]")) one.addEventListener("click", () => {
  mode(one.dataset.mode);
  store();
});
for (const one of document.querySelectorAll("[data-seconds]")) one.addEventListener("click", () => {
  wanted = Number(one.dataset.seconds);
  for (const other of document.querySelectorAll("[data-seconds]")) other.setAttribute("aria-pressed", String(other === one));
  count();
});
for (const one of document.querySelectorAll("[data-to]")) one.addEventListener("click", () => {
  to = one.dataset.to;
  for (const other of document.querySelectorAll("[data-to]")) other.setAttribute("aria-pressed", String(other === one));
  count();
});
document.getElementById("count-start").addEventListener("click", () => {
  clearInterval(timer);
  const ends = seconds() + wanted;
  timer = setInterval(() => {
    const rest = Math.ceil(ends - seconds());
    left.textContent = rest > 0 ? `${rest} s` : "Stop";
    if (rest <= 0) {
      clearInterval(timer);
      navigator.vibrate?.(300);
      beats.focus();
    }
  }, 200);
});
async function count() {
  const said = document.getElementById("counted");
  if (!beats.value.trim()) return;
  try {
    const found = await send("POST", "/api/record/counted", { beats: Number(beats.value), seconds: wanted });
    state.counted[to] = found;
    said.textContent = `${Math.round(found.bpm)} bpm, give or take ${Math.round(found.plus_minus_bpm)}.`;
  } catch (error) {
    said.textContent = error.message;
    delete state.counted[to];
  }
  store();
  draw();
}
beats.addEventListener("change", count);
beats.addEventListener("input", () => {
  clearTimeout(beats.waiting);
  beats.waiting = setTimeout(count, 400);
});

// ---------------------------------------------------------------- saving

steppers(root);
form.addEventListener("input", store);
function problem(words) {
  const note = form.querySelector(".problem-note");
  note.hidden = !words;
  note.textContent = words;
}

async function rates() {
  if (state.mode === "count" || !state.taps.length) return state.counted;
  const zero = state.taps[0];
  const found = await send("POST", "/api/record/heard", {
    taps_s: state.taps.map((t) => t - zero),
    begins_s: state.begins === null ? null : state.begins - zero,
    ends_s: state.ends === null ? null : state.ends - zero,
  });
  return { ...state.counted, ...Object.fromEntries(Object.entries(found).filter(([, v]) => v)) };
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = form.querySelector(".main-action");
  if (button.disabled) return;
  button.disabled = true;
  problem("");
  try {
    const found = await rates();
    const parts = Object.entries(found).filter(([, v]) => v);
    if (!parts.length) return problem("Too few beats to tell a rate: tap at least eight over five seconds, or count.");
    const uneven = parts.find(([, v]) => v.uneven);
    if (uneven) return problem(`The taps are no even beat (${uneven[1].uneven}). Begin anew, or count.`);
    const fields = Object.fromEntries([...new FormData(form)].filter(([, v]) => String(v).trim()));
    for (const [name, rate] of parts) {
      fields[`${name}_bpm`] = rate.bpm;
      fields[`listened_${name}_s`] = rate.seconds;
    }
    if (found.after && found.after.lowest_bpm < found.after.bpm - 15) fields.after_lowest_bpm = found.after.lowest_bpm;
    fields.method = state.mode === "tap" ? "tapped" : "counted";
    const entry = await write(caseNumber, { kind: "auscultation", fields, at: iso(new Date()), corrects: null });
    state = { ...start, taps: [], counted: {}, mode: state.mode };
    keep(key, null);
    form.reset();
    beats.value = "";
    draw();
    if (entry) location.href = `/record/${caseNumber}#entry-${entry.number}`;
    else tell("The server does not answer. What was heard waits on this tablet and is sent again.", { kind: "caution" });
  } catch (error) {
    problem(error.message);
  } finally {
    button.disabled = false;
  }
});

for (const [name, value] of Object.entries(state.fields || {})) {
  const input = form.elements[name];
  if (input instanceof RadioNodeList) for (const one of input) one.checked = one.value === value;
  else if (input) input.value = value;
}
mode(state.mode);
draw();
setInterval(draw, 1000);
showOutbox(document.getElementById("outbox"));
