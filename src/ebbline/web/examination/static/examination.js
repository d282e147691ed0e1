// The examination's page: answers from the drawing and from the list are one state; after each
// change everything that follows is asked for anew.
import { AbdomenDrawing } from "./abdomen.js";
import { piece, send, tell, tellProblem } from "../api.js";

const root = document.getElementById("exam");
const key = root.dataset.key;
const asked = key ? `?recording=${key}` : "";
const findings = document.getElementById("findings");
const known = document.getElementById("known");
const outcome = document.getElementById("outcome");
const drawing = new AbdomenDrawing(document.getElementById("abdomen"));

// -- what was answered ---------------------------------------------------------------------------

function answers() {
  return Object.fromEntries([...findings.querySelectorAll("[data-item]")].filter((one) => one.value).map((one) => [one.name, one.value]));
}

function answer(item, value) {
  findings.elements[item].value = value;
  update();
}

function context() {
  const text = (name) => known.elements[name].value;
  const number = (name) => (text(name) === "" ? null : Number(text(name)));
  const yes = (name) => ({ true: true, false: false })[text(name)] ?? null;
  return {
    weeks: number("weeks"), fetuses: Number(text("fetuses")), earlier_births: number("earlier_births"), stage: text("stage"), membranes: text("membranes"),
    placenta: text("placenta"), bleeding: yes("bleeding"), fluid: text("fluid"), previous_breech: yes("previous_breech"),
    examiner: text("examiner"), fundal_height_cm: number("fundal_height_cm"), girth_cm: number("girth_cm"),
    maternal_weight_kg: number("maternal_weight_kg"),
    hindrances: [...known.querySelectorAll('[name="hindrances"]:checked')].map((one) => one.value),
  };
}

// -- what follows ----------------------------------------------------------------------------------

let running;
async function update() {
  running?.abort();
  running = new AbortController();
  const { signal } = running;
  const given = { findings: answers(), context: context() };
  try {
    const [html, out] = await Promise.all([
      piece(`/examination/outcome${asked}`, { data: given, signal }),
      send("POST", `/api/examine${asked}`, given, { signal }),
    ]);
    outcome.innerHTML = html;
    draw(given.findings, out);
  } catch (error) {
    tellProblem(error);
  }
}

// -- the drawing -----------------------------------------------------------------------------------

const side = (word) => (word.startsWith("left") ? "left flank" : word.startsWith("right") ? "right flank" : "front");

/** Where on the drawing each finding is written. */
function wordsOnAbdomen(found) {
  const words = {};
  const put = (place, text) => (words[place] ||= []).push(text);
  const plain = (value, text = value) => (value === "unclear" ? "unclear" : text);
  if (found.fundus) put("fundus", plain(found.fundus));
  if (found.back) put(side(found.back), found.back === "unclear" || found.back === "not felt" ? `back ${found.back}` : found.back === "across" ? "back across" : "back");
  if (found.limbs) put(side(found.limbs), found.limbs === "unclear" || found.limbs === "not felt" ? `limbs ${found.limbs}` : "limbs");
  if (found.poles && found.poles !== "none") put(found.poles.includes("fossa") ? `${found.poles.split(" ")[1]} fossa` : found.poles.includes("upper") ? "fundus" : side(found.poles.replace("head ", "").replace("breech ", "")), found.poles.split(" ")[0]);
  if (found.brim) put("brim", [plain(found.brim), found.fifths && found.fifths !== "unclear" ? `${found.fifths.replace("/5", "")}/5` : ""].filter(Boolean).join(" "));
  else if (found.fifths) put("brim", `${found.fifths.replace("/5", "")}/5`);
  if (found.mobility) put("brim", found.mobility);
  if (found.prominence) put(found.prominence === "left" ? "left fossa" : found.prominence === "right" ? "right fossa" : "brim", found.prominence.startsWith("both") ? "prominence both" : "prominence");
  return words;
}

const HEIGHTS = { above: 7, level: 0, below: -8 };
const ACROSS = { "left flank": 0.8, left: 0.38, midline: 0, right: -0.38, "right flank": -0.8 };

function heardAt(word, abdomen) {
  const match = /^(left flank|left|midline|right|right flank) (above|level|below)$/.exec(word || "");
  return match && { x_cm: ACROSS[match[1]] * abdomen.flank_x_cm, y_cm: HEIGHTS[match[2]] };
}

function kickedAt(word, abdomen) {
  if (!word || word === "not noticed" || word === "unclear") return null;
  const across = word.includes("left") ? 0.62 : word.includes("right") ? -0.62 : 0;
  const up = word.startsWith("upper") ? 0.82 : word.startsWith("lower") ? 0.18 : 0.5;
  return { x_cm: across * abdomen.flank_x_cm, y_cm: abdomen.symphysis_y_cm + up * abdomen.fundal_height_cm };
}

function draw(found, out) {
  drawing.show({
    abdomen: out.abdomen,
    map: out.map,
    words: wordsOnAbdomen(found),
    sites: {
      best: out.best, fallback: out.fallback, contraction: out.contraction, drift: out.drift,
      heard: heardAt(found.heart, out.abdomen), kicks: kickedAt(found.movement, out.abdomen),
    },
  });
}

// -- touching a zone -------------------------------------------------------------------------------

const BACK = { "left flank": [["left front", "towards the front"], ["left flank", "in the flank"], ["left far", "far back"]], "right flank": [["right front", "towards the front"], ["right flank", "in the flank"], ["right far", "far back"]], "front": [["front", "in the midline"], ["across", "lies across"], ["not felt", "not felt"]] };
const POLE = [["head", "head: hard, round, moves on its own"], ["breech", "breech: softer, broader, moves with the trunk"], ["nothing", "nothing there"], ["unclear", "cannot tell"]];

function choicesFor(zone) {
  if (zone === "fundus") return [["Which pole?", "fundus", POLE]];
  if (zone === "brim") {
    return [
      ["What lies above the symphysis?", "brim", POLE],
      ["Does it still move?", "mobility", [["mobile", "mobile"], ["dipping", "dipping"], ["fixed", "fixed"], ["unclear", "cannot tell"]]],
      ["Fifths above the brim", "fifths", [..."543210"].map((n) => [n, `${n}/5`])],
      ["The cephalic prominence", "prominence", [["both alike", "both sides alike"], ["not felt", "not felt"]]],
    ];
  }
  if (zone.endsWith("fossa")) {
    const where = zone.split(" ")[0];
    return [
      ["Does a pole lie here?", "poles", [[`head ${zone}`, "the head"], [`breech ${zone}`, "the breech"], ["none", "none in any flank or fossa"]]],
      ["The cephalic prominence", "prominence", [[where, "met on this side first"]]],
    ];
  }
  const where = zone.split(" ")[0];
  const groups = [["The back: smooth, long, firm", "back", BACK[zone]]];
  if (zone === "front") groups.push(["Limbs: small, irregular, moving", "limbs", [["both sides", "on both sides, all over the front"], ["across", "across"], ["not felt", "not felt"]]]);
  else {
    groups.push(["Limbs: small, irregular, moving", "limbs", [[where, "on this side"]]]);
    groups.push(["Does a pole lie here?", "poles", [[`head ${zone}`, "the head"], [`breech ${zone}`, "the breech"], ["none", "none in any flank or fossa"]]]);
  }
  return groups;
}

const box = document.getElementById("zone");
const choices = document.getElementById("zone-choices");

function openZone(zone, words) {
  document.getElementById("zone-title").textContent = `Felt at ${words}`;
  choices.replaceChildren();
  for (const [title, item, options] of choicesFor(zone)) {
    const group = document.createElement("div");
    group.className = "zone-group";
    group.setAttribute("role", "group");
    group.setAttribute("aria-label", title);
    group.append(Object.assign(document.createElement("h3"), { textContent: title }));
    for (const [value, label] of options) {
      const one = Object.assign(document.createElement("button"), { type: "button", textContent: label });
      one.dataset.item = item;
      one.dataset.value = value;
      group.append(one);
    }
    choices.append(group);
  }
  pressed();
  box.showModal();
}

function pressed() {
  for (const one of choices.querySelectorAll("button")) one.setAttribute("aria-pressed", String(findings.elements[one.dataset.item].value === one.dataset.value));
}

choices.addEventListener("click", (event) => {
  const one = event.target.closest("button");
  if (!one) return;
  const same = findings.elements[one.dataset.item].value === one.dataset.value;
  answer(one.dataset.item, same ? "" : one.dataset.value);
  pressed();
});
box.querySelector("[data-done]").addEventListener("click", () => box.close());
box.addEventListener("click", (event) => event.target === box && box.close());

drawing.addEventListener("zone", ({ detail }) => {
  if (detail.mode === "feel") openZone(detail.zone, detail.words);
  else {
    const item = detail.mode === "listen" ? "heart" : "movement";
    answer(item, findings.elements[item].value === detail.zone ? "" : detail.zone);
  }
});

const MODES = {
  feel: "Touch where your hands are, and say what they felt.",
  listen: "Touch where the heart is heard best; feel the mother’s pulse at the same time.",
  kicks: "Ask her where the strongest kicks are, and touch there.",
};
for (const one of root.querySelectorAll("[data-mode]")) {
  one.addEventListener("click", () => {
    for (const other of root.querySelectorAll("[data-mode]")) other.setAttribute("aria-pressed", String(other === one));
    document.getElementById("mode-words").textContent = MODES[one.dataset.mode];
    drawing.setMode(one.dataset.mode);
  });
}
root.querySelector("[data-clear]").addEventListener("click", () => {
  for (const one of findings.querySelectorAll("[data-item]")) one.value = "";
  update();
});

// -- the lists -------------------------------------------------------------------------------------

findings.addEventListener("change", update);
findings.addEventListener("submit", (event) => event.preventDefault());
known.addEventListener("change", () => {
  update();
  reviews();
});
known.addEventListener("submit", (event) => event.preventDefault());

outcome.addEventListener("click", (event) => {
  const next = event.target.closest("[data-next]");
  if (!next) return;
  document.getElementById("all-findings").open = true;
  const field = findings.elements[next.dataset.next];
  field.scrollIntoView({ block: "center", behavior: "smooth" });
  field.focus({ preventScroll: true });
});

document.getElementById("keep-exam")?.addEventListener("click", async () => {
  try {
    const saved = await send("POST", `/api/recordings/${key}/examinations`, { findings: answers(), context: context() });
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
internal();
reviews();
