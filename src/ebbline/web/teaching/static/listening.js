// Listening at intervals: the heart is heard (and a light beats along), the learner taps, a hand on
// the fundus says soft or hard. What was tapped is one step; the labour goes on by as much.
import { get } from "../api.js";
import { Ear } from "./ear.js";

export function wireListening({ path, step, isOwn }) {
  const box = document.getElementById("listening");
  if (!box) return;
  const el = (name) => box.querySelector(`[data-of="${name}"]`);
  const ear = new Ear();
  let running = null;

  const taps = () => {
    if (!running) return;
    running.taps.push((performance.now() - running.from) / 1000);
    el("count").textContent = `· ${running.taps.length} taps`;
    el("tap").classList.remove("hit");
    el("tap").getBoundingClientRect();
    el("tap").classList.add("hit");
  };

  async function begin() {
    if (running || !isOwn()) return;
    el("begin").disabled = true;
    const seconds = Number(el("seconds").value);
    const ahead = await get(`${path}/beats?seconds=${seconds}`).catch(() => null);
    if (!ahead) {
      el("begin").disabled = false;
      el("womb").textContent = "The labour cannot go on that long.";
      return;
    }
    if (el("sound").checked) ear.sound(true);
    running = { from: performance.now(), taps: [], ahead, beat: 0, timer: 0 };
    el("tap").disabled = false;
    el("stop").disabled = false;
    el("tap").focus();
    running.timer = setInterval(tick, 25);
  }

  function tick() {
    const at = (performance.now() - running.from) / 1000;
    const { beats_s: beats, hard_s: hard, seconds } = running.ahead;
    while (running.beat < beats.length && beats[running.beat] <= at + 0.03) {
      const next = beats[running.beat + 1] ?? beats[running.beat] + 0.45;
      if (ear.audible) ear.beat({ kind: "heart", volume: 0.8, bpm: 60 / Math.max(0.25, next - beats[running.beat]) }, 0);
      el("light").classList.toggle("lit", true);
      setTimeout(() => el("light").classList.toggle("lit", false), 110);
      running.beat += 1;
    }
    const now = hard.some(([a, b]) => at >= a && at <= b);
    el("womb").textContent = now ? "Under your other hand: hard." : "Under your other hand: soft.";
    el("womb").dataset.hard = String(now);
    el("clock").textContent = `${Math.floor(at)} of ${seconds} s`;
    if (at >= seconds) end();
  }

  async function end() {
    if (!running) return;
    const one = running;
    clearInterval(one.timer);
    running = null;
    for (const name of ["tap", "stop"]) el(name).disabled = true;
    el("begin").disabled = false;
    el("begin").focus();
    const seconds = Math.max(5, Math.min(one.ahead.seconds, Math.round((performance.now() - one.from) / 1000)));
    await step({ step: "auscultate", seconds, taps: one.taps.filter((t) => t <= seconds).map((t) => Math.round(t * 1000) / 1000) });
    el("count").textContent = "";
  }

  el("begin").addEventListener("click", begin);
  el("stop").addEventListener("click", end);
  el("tap").addEventListener("pointerdown", (event) => {
    event.preventDefault();
    taps();
  });
  el("tap").addEventListener("keydown", (event) => {
    if ((event.key === " " || event.key === "Enter") && !event.repeat) {
      event.preventDefault();
      taps();
    }
  });
  box.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    const given = new FormData(event.target);
    const yes = (name) => ({ yes: true, no: false }[given.get(name)] ?? null);
    const baseline = given.get("baseline");
    step({ step: "conclude auscultation", answer: { baseline_bpm: baseline ? Number(baseline) : null, decelerations: yes("decelerations"), continuous: yes("continuous") } });
  });
}
