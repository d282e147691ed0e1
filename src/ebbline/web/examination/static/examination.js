// The examination's page: one question a screen for one gloved hand; the same answers stand in the
// lists below, and after each change everything that follows is asked for anew.
import { piece, send, tell, tellProblem } from "../api.js";

const root = document.getElementById("exam");
const key = root.dataset.key;
const asked = key ? `?recording=${key}` : "";
const findings = document.getElementById("findings");
const known = document.getElementById("known");
const outcome = document.getElementById("outcome");

// -- what was answered ---------------------------------------------------------------------------

function answers() {
  return Object.fromEntries([...findings.querySelectorAll("[data-item]")].filter((one) => one.value).map((one) => [one.name, one.value]));
}

function context() {
  const text = (name) => known.elements[name].value;
  const number = (name) => (text(name) === "" ? null : Number(text(name)));
  const yes = (name) => ({ true: true, false: false })[text(name)] ?? null;
  return {
    weeks: text("weeks").trim() || null, fetuses: Number(text("fetuses")), earlier_births: number("earlier_births"), stage: text("stage"), membranes: text("membranes"),
    placenta: text("placenta"), bleeding: yes("bleeding"), fluid: text("fluid"), previous_breech: yes("previous_breech"),
    examiner: text("examiner"), fundal_height_cm: number("fundal_height_cm"), girth_cm: number("girth_cm"),
    maternal_weight_kg: number("maternal_weight_kg"),
    hindrances: [...known.querySelectorAll('[name="hindrances"]:checked')].map((one) => one.value),
  };
}

// -- what follows ----------------------------------------------------------------------------------

const tried = JSON.parse(root.dataset.tried || "{}"); // what was tried at the sensor: step -> what it brought

let running;
async function update() {
  running?.abort();
  running = new AbortController();
  const { signal } = running;
  const given = { findings: answers(), context: context(), tried };
  try {
    outcome.innerHTML = await piece(`/examination/outcome${asked}`, { data: given, signal });
    // An emergency is alone on the screen: nothing else asks for a look.
    document.body.classList.toggle("alone", outcome.querySelector("[data-alone]") !== null);
  } catch (error) {
    tellProblem(error);
  }
}

// -- one question a screen -------------------------------------------------------------------------

const questions = JSON.parse(document.getElementById("questions").textContent);
const part = (id) => document.getElementById(id);
const form = (question) => (question.form === "known" ? known : findings);
const EMPTY = new Set(["", "unknown"]);
let at = 0;
const undone = []; // what stood before each answer: the fields, and where we were
const skipped = new Set();

const value = (question, field) => form(question).elements[field].value;
const told = (question, choice) => Object.entries(choice.sets).every(([field, wanted]) => value(question, field) === wanted);
const fields = (question) => [...new Set(question.choices.flatMap((choice) => Object.keys(choice.sets)))];
const answeredAlready = (question) => fields(question).some((field) => !EMPTY.has(value(question, field)));
const applies = (question) => question.only_after.length === 0 || question.only_after.some(([item, word]) => findings.elements[item].value === word);

function next() {
  at = questions.findIndex((question) => applies(question) && !answeredAlready(question) && !skipped.has(question.id));
  if (at < 0) at = questions.length;
  show();
  if (at === questions.length) outcome.scrollIntoView({ block: "start" });
}

function remember(question) {
  undone.push({ at, id: question.id, wasSkipped: skipped.has(question.id), form: question.form, values: Object.fromEntries(fields(question).map((field) => [field, value(question, field)])) });
}

/** Take an answer. The same answer touched again stays: nothing is erased by touching twice. */
function take(question, sets) {
  remember(question);
  skipped.delete(question.id);
  for (const field of fields(question)) if (!(field in sets) && question.form === "findings") findings.elements[field].value = "";
  for (const [field, wanted] of Object.entries(sets)) form(question).elements[field].value = wanted;
  update();
  next();
}

function undo() {
  const last = undone.pop();
  if (!last) return;
  const into = last.form === "known" ? known : findings;
  for (const [field, before] of Object.entries(last.values)) into.elements[field].value = before;
  if (!last.wasSkipped) skipped.delete(last.id);
  at = last.at;
  update();
  show();
}

function button(words, attributes = {}) {
  const one = Object.assign(document.createElement("button"), { type: "button", textContent: words });
  for (const [name, given] of Object.entries(attributes)) one.setAttribute(name, given);
  return one;
}

function show() {
  const question = questions[at];
  const open = questions.filter((one) => applies(one) && !answeredAlready(one) && !skipped.has(one.id)).length;
  part("ask").dataset.done = String(!question);
  part("ask-count").textContent = question ? `${open} to go` : "All asked";
  part("ask-title").textContent = question ? question.title : "All asked: what it comes to";
  part("ask-how").textContent = question ? question.how : "Touch an answer to change it. More can be told in the lists at the end.";
  part("ask-typed").hidden = !question?.typed;
  part("ask-sides").hidden = !question || question.form === "known" || question.columns < 3;
  part("ask-choices").style.setProperty("--columns", question?.columns ?? 1);
  part("ask-choices").dataset.ask = question?.id ?? "";
  part("ask-choices").replaceChildren(...(question?.choices ?? []).map((choice) => {
    const one = button(choice.words, { "aria-pressed": String(told(question, choice)), "data-said": Object.values(choice.sets).join(" ") });
    if (choice.said) one.setAttribute("aria-label", choice.said);
    one.addEventListener("click", () => take(question, choice.sets));
    return one;
  }));
  const skip = part("ask").querySelector("[data-skip]");
  skip.hidden = !question;
  skip.textContent = question?.skip ?? "";
  part("ask").querySelector("[data-undo]").disabled = undone.length === 0;
  part("answered").replaceChildren(...questions.filter((one) => applies(one) && answeredAlready(one)).map((one) => {
    const line = document.createElement("li");
    const words = one.choices.find((choice) => told(one, choice));
    const plain = words?.said || words?.words.split(":")[0] || fields(one).map((field) => value(one, field)).filter(Boolean).join(", ");
    const chip = button(`${one.id}: ${plain}`);
    chip.addEventListener("click", () => {
      at = questions.indexOf(one);
      show();
      part("ask-title").focus({ preventScroll: false });
    });
    line.append(chip);
    return line;
  }));
}

part("ask").querySelector("[data-undo]").addEventListener("click", undo);
part("ask").querySelector("[data-skip]").addEventListener("click", () => {
  const question = questions[at];
  remember(question);
  skipped.add(question.id);
  next();
});
part("ask-typed").addEventListener("submit", (event) => {
  event.preventDefault();
  const written = part("ask-weeks").value.trim();
  if (written) take(questions[at], { weeks: written });
});
const anew = part("anew");
part("ask").querySelector("[data-new]").addEventListener("click", () => anew.showModal());
anew.querySelector("[data-keep]").addEventListener("click", () => anew.close());
anew.querySelector("[data-anew]").addEventListener("click", () => {
  findings.reset();
  known.reset();
  for (const one of findings.querySelectorAll("[data-item]")) one.value = "";
  for (const question of questions.filter((one) => one.form === "known")) for (const field of fields(question)) known.elements[field].value = ["stage", "membranes", "placenta"].includes(field) ? "unknown" : "";
  undone.length = 0;
  skipped.clear();
  anew.close();
  update();
  next();
});

// -- the lists -------------------------------------------------------------------------------------

findings.addEventListener("change", () => {
  update();
  show();
});
findings.addEventListener("submit", (event) => event.preventDefault());
known.addEventListener("change", () => {
  update();
  show();
  reviews();
});
known.addEventListener("submit", (event) => event.preventDefault());

outcome.addEventListener("click", (event) => {
  if (event.target.closest("[data-undo-alone]")) {
    undo();
    return;
  }
  const step = event.target.closest("[data-step]");
  if (step) {
    tried[step.dataset.step] = step.dataset.brought;
    update();
    return;
  }
  if (event.target.closest("[data-untry]")) {
    delete tried[Object.keys(tried).at(-1)];
    update();
    return;
  }
  const next = event.target.closest("[data-next]");
  if (!next) return;
  const which = questions.findIndex((question) => fields(question).includes(next.dataset.next));
  if (which >= 0) {
    at = which;
    show();
    part("ask").scrollIntoView({ block: "start", behavior: "smooth" });
    return;
  }
  document.getElementById("all-findings").open = true;
  const field = findings.elements[next.dataset.next];
  field.scrollIntoView({ block: "center", behavior: "smooth" });
  field.focus({ preventScroll: true });
});

document.getElementById("keep-exam")?.addEventListener("click", async () => {
  try {
    const saved = await send("POST", `/api/recordings/${key}/examinations`, { findings: answers(), context: context(), tried });
    document.getElementById("kept-words").textContent = `Kept by ${saved.author}, just now`;
    tell("Kept with the recording. Earlier examinations stay.");
  } catch (error) {
    tellProblem(error);
  }
});

// -- internal sensors and reviews --------------------------------------------------------------------

const internalForm = document.getElementById("internal-form");
let sensor = internalForm.querySelector("[data-sensor]");

async function internal() {
  const asks = sensor.dataset.asks.split(" ");
  for (const one of internalForm.querySelectorAll("[data-fact]")) one.hidden = !asks.includes(one.dataset.fact);
  const facts = {};
  for (const name of asks) if (internalForm.elements[name].value !== "") facts[name] = internalForm.elements[name].value;
  try {
    document.getElementById("internal-outcome").innerHTML = await piece("/examination/internal", { data: { sensor: sensor.dataset.sensor, facts } });
  } catch (error) {
    tellProblem(error);
  }
}
internalForm.addEventListener("click", (event) => {
  const one = event.target.closest("[data-sensor]");
  if (!one) return;
  sensor = one;
  for (const other of internalForm.querySelectorAll("[data-sensor]")) other.setAttribute("aria-pressed", String(other === one));
  internal();
});
internalForm.addEventListener("change", internal);
internalForm.addEventListener("submit", (event) => event.preventDefault());

const reviewsForm = document.getElementById("reviews-form");
const localIso = (at) => new Date(at.getTime() - at.getTimezoneOffset() * 60000).toISOString().slice(0, 19);

async function reviews() {
  const now = new Date();
  const last = {};
  for (const one of reviewsForm.querySelectorAll("[data-review]")) {
    if (!one.value) continue;
    const [hours, minutes] = one.value.split(":").map(Number);
    const at = new Date(now);
    at.setHours(hours, minutes, 0, 0);
    if (at > now) at.setDate(at.getDate() - 1);
    last[one.dataset.review] = localIso(at);
  }
  const factors = [...reviewsForm.querySelectorAll('[name="factors"]:checked')].map((one) => one.value);
  const data = { now: localIso(now), last, stage: known.elements.stage.value, risk: reviewsForm.elements.risk.value, method: reviewsForm.elements.method.value, factors };
  try {
    document.getElementById("reviews-outcome").innerHTML = await piece("/examination/reviews", { data });
  } catch (error) {
    tellProblem(error);
  }
}
reviewsForm.addEventListener("change", reviews);
reviewsForm.addEventListener("submit", (event) => event.preventDefault());
setInterval(() => document.getElementById("reviews").open && reviews(), 30000);

update();
next();
if (window.matchMedia("(max-width: 900px)").matches) part("ask").scrollIntoView({ block: "start" });
internal();
reviews();
