// The wall: the strip runs in, the counts rise, the split and the truth are shown when asked for.
import { bytes, get, send, tellProblem } from "../api.js";
import { hear } from "./hear.js";
import { ClassClock, RunningStrip } from "./running-strip.js";
import { drawSplits, drawTruth } from "./splits.js";

const el = (id) => document.getElementById(id);
const wall = el("wall");
const path = `/api/teach/classes/${wall.dataset.code}`;
const clock = new ClassClock();
const strip = new RunningStrip(el("strip"));
const WORDS = {
  waiting: "Nobody has been asked yet.",
  open: "Answers are coming in. Nobody sees them yet.",
  split: "This is the split. Talk to your neighbour; then answer again.",
  truth: "",
};
let state = JSON.parse(el("state").textContent);

function show() {
  clock.set(state.strip);
  wall.dataset.phase = state.phase;
  el("learners").textContent = state.learners;
  el("answered").textContent = state.answered;
  el("phase").textContent = WORDS[state.phase];
  el("ask").textContent = state.round ? "Ask again" : "Ask the class";
  el("ask").disabled = state.phase === "open" || state.phase === "truth";
  el("split").disabled = state.phase !== "open";
  el("truth").disabled = state.phase === "waiting" || state.phase === "truth";
  el("run").textContent = state.strip.runs ? "Stop" : "Let it run";
  drawSplits(el("splits"), state.splits);
  drawTruth(el("told"), state.truth);
}

async function act(name) {
  try {
    state = await send("POST", `${path}/act`, { act: name, speed: Number(el("speed").value) });
    show();
    // What was asked for is seen: the split, the truth, below a strip that fills the wall.
    if (name === "split" || name === "truth") wall.querySelector(".wall-answers").scrollIntoView({ block: "end" });
  } catch (error) {
    tellProblem(error);
  }
}

for (const name of ["ask", "split", "truth", "all"]) el(name).addEventListener("click", () => act(name));
el("run").addEventListener("click", () => act(state.strip.runs ? "stop" : "run"));
el("speed").addEventListener("change", () => state.strip.runs && act("run"));

try {
  strip.load(await Promise.all(JSON.parse(el("traces").textContent).map(async (one) => ({ ...one, samples: new Float32Array(await bytes(`${path}/strip/${one.href}`)) }))));
  show();
  strip.showTo(clock.now());
  setInterval(() => {
    strip.showTo(clock.now());
    if (state.strip.runs && clock.now() >= state.strip.ends_s) {
      state.strip.runs = false;
      show();
    }
  }, 100);
} catch (error) {
  tellProblem(error);
}
hear(`${path}/events`, async () => {
  try {
    state = await get(path);
    show();
  } catch (error) {
    tellProblem(error);
  }
}, el("link"));
