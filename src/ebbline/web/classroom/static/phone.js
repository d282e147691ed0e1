// A learner's phone: what is asked, one's own answer, the split and the truth when they are shown.
import { bytes, get, send, tellProblem } from "../api.js";
import { hear } from "./hear.js";
import { ClassClock, RunningStrip } from "./running-strip.js";
import { drawSplits, drawTruth } from "./splits.js";

const el = (id) => document.getElementById(id);
const path = `/api/join/${el("phone").dataset.code}`;
const clock = new ClassClock();
let strip;
let state = null;
let seen = "";

const words = () => ({
  waiting: "Look at the wall. You will be asked in a moment.",
  open: state.mine ? "Answered. You may change it until the split is shown." : state.round > 1 ? "Answer again, after talking." : "Answer alone.",
  split: "This is how the class split. Talk to your neighbour.",
  truth: "",
}[state.phase]);

function show() {
  clock.set(state.strip);
  el("question").textContent = state.phase === "waiting" ? state.strip.title : state.question;
  el("words").textContent = words();
  const open = state.phase === "open";
  el("options").hidden = !open;
  const key = `${state.strip.number} ${state.options.join("|")}`;
  if (key !== seen) {
    seen = key;
    strip = undefined;
    el("options").replaceChildren(...state.options.map((option) => {
      const button = document.createElement("button");
      button.textContent = option;
      button.dataset.option = option;
      button.addEventListener("click", () => answer(option));
      return button;
    }));
  }
  for (const button of el("options").children) button.setAttribute("aria-pressed", String(button.dataset.option === state.mine));
  // The options go when the answering closes: the focus goes to what is asked, not to nowhere.
  if (!open && document.activeElement === document.body) el("question").focus({ preventScroll: true });
  drawSplits(el("splits"), state.splits);
  drawTruth(el("truth"), state.truth);
}

async function answer(option) {
  try {
    state = await send("POST", `${path}/answer`, { strip: state.strip.number, round: state.round, option });
    show();
  } catch (error) {
    tellProblem(error);
  }
}

async function showStrip() {
  if (!el("strip-box").open || !state) return;
  const traces = [["fetal heart rate", "heart", 4], ["uterine activity", "uterine", 4]];
  strip ??= new RunningStrip(el("strip"));
  const until = clock.now();
  if (until <= strip.shown + 5) return;
  const found = await Promise.all(traces.map(async ([kind, name]) => {
    const samples = await bytes(`${path}/strip/${name}`).catch(() => null);
    return samples && { kind, samples: new Float32Array(samples) };
  }));
  strip.load(found.filter((one) => one?.samples.length).map((one) => ({ ...one, rate_hz: Math.max(1, Math.round(one.samples.length / until)) })));
  strip.showTo(until);
}

el("strip-box").addEventListener("toggle", showStrip);
setInterval(showStrip, 4000);
hear(`${path}/events`, async () => {
  try {
    state = await get(path);
    show();
  } catch (error) {
    if (error.status === 422) location.assign("/join");
    else tellProblem(error);
  }
}, el("link"));
