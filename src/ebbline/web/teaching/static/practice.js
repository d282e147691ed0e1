// Practice from one's errors: a short strip, an answer, at once why; ten times.
import { bytes, get, tellProblem } from "../api.js";
import { Strip } from "../strip/strip.js";

const STRIPS = 10;
const place = document.getElementById("drill");
const { one, other, seed } = place.dataset;
const query = new URLSearchParams({ one, other, seed });
const el = (id) => document.getElementById(id);
const answers = [...document.querySelectorAll("[data-say]")];
const marks = [...el("drill-marks").children];
const strip = new Strip(el("strip"), { label: "Short strip", columns: false, overview: false, fit: true });
const given = [];
let number = 1;
let shown = null;
let ahead = null;

async function fetched(which) {
  const made = await get(`/api/teach/practice/${which}?${query}`);
  const traces = await Promise.all(made.traces.map(async (t) => ({ ...t, fetus: 1, samples: new Float32Array(await bytes(t.samples_href)) })));
  return { ...made, traces };
}

function lay() {
  if (!shown) return;
  strip.goto(0, shown.duration_s / strip.wide, false);
}

async function begin() {
  el("drill-number").textContent = `Strip ${number} of ${STRIPS}`;
  el("drill-told").replaceChildren();
  el("drill-next").hidden = true;
  marks.forEach((mark, i) => mark.toggleAttribute("data-here", i === number - 1));
  try {
    shown = await (ahead || fetched(number));
    ahead = number < STRIPS ? fetched(number + 1) : null;
    ahead?.catch(() => { ahead = null; });
    strip.setBlind(true);
    strip.setItems([]);
    strip.setBaseline(null);
    strip.load({ duration_s: shown.duration_s, start: null, traces: shown.traces });
    lay();
    for (const button of answers) {
      button.disabled = false;
      button.removeAttribute("aria-pressed");
    }
    answers[0].focus({ preventScroll: true });
  } catch (error) {
    tellProblem(error);
  }
}

async function say(said) {
  if (answers[0].disabled) return;
  for (const button of answers) {
    button.disabled = true;
    button.setAttribute("aria-pressed", String(button.dataset.say === said));
  }
  try {
    const told = await get(`/api/teach/practice/${number}/verdict?${query}&${new URLSearchParams({ said })}`);
    given.push({ number, said, ...told });
    const word = document.createElement("strong");
    word.textContent = told.right ? "Right." : `No: ${told.answer}.`;
    word.className = told.right ? "verdict-right" : "verdict-wrong";
    el("drill-told").replaceChildren(word, ` ${told.why}`);
    marks[number - 1].dataset.right = String(told.right);
    marks[number - 1].textContent = told.right ? "✓" : "✗";
    strip.setBlind(false);
    strip.setItems(told.items);
    strip.setBaseline(told.baseline);
    el("drill-next").textContent = number < STRIPS ? "Next strip" : "What it came to";
    el("drill-next").hidden = false;
    el("drill-next").focus({ preventScroll: true });
  } catch (error) {
    for (const button of answers) button.disabled = false;
    tellProblem(error);
  }
}

function end() {
  const right = given.filter((answer) => answer.right).length;
  for (const id of ["drill-answers", "drill-told", "drill-next", "strip", "drill-number"]) el(id).hidden = true;
  el("drill-end").hidden = false;
  const each = [one, other].map((term) => {
    const own = given.filter((answer) => answer.answer === term);
    return `${term}: ${own.filter((answer) => answer.right).length} of ${own.length}`;
  });
  el("drill-sum").textContent = `${right} of ${STRIPS} right (${each.join("; ")})`;
  el("drill-list").replaceChildren(...given.map((answer) => {
    const li = document.createElement("li");
    li.className = "item-row";
    const words = document.createElement("span");
    const verdict = document.createElement("strong");
    verdict.className = answer.right ? "verdict-right" : "verdict-wrong";
    verdict.textContent = answer.right ? "right" : `you said ${answer.said}`;
    words.textContent = `${answer.number}. ${answer.why}`;
    li.append(words, verdict);
    return li;
  }));
  el("drill-sum").focus();
}

for (const button of answers) button.addEventListener("click", () => say(button.dataset.say));
el("drill-next").addEventListener("click", () => {
  number += 1;
  if (number > STRIPS) end();
  else begin();
});
document.addEventListener("keydown", (event) => {
  const chosen = answers[Number(event.key) - 1];
  if (!chosen || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  say(chosen.dataset.say);
}, true);
new ResizeObserver(lay).observe(el("strip"));
begin();
