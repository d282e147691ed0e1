// One bed live: the four lines, what to look at, and the strip as it grows.
import { get, send, tellProblem } from "../api.js";
import { GrowingStrip } from "./growing-strip.js";
import { FRESH_S, GRAVITY, LEVEL_OF, TITLES, URGENCY, clockOf, element, episodes, goesOn, listen, nextReview, nothingYet, old, sign } from "./words.js";

const bed = document.getElementById("bed");
const labour = bed.dataset.labour;
const start = bed.dataset.start;
const strip = new GrowingStrip(document.getElementById("strip"), start);
const OPEN_SHOWN = 2;
const SEEN_SHOWN = 1;
let all = false;
let state = null;
let linesStale = false;
let nothingSaid = "";

function showNumbers(one) {
  const box = document.getElementById("numbers");
  const stale = old(state, strip.end);
  document.getElementById("stale").textContent = stale;
  document.getElementById("stale").hidden = !stale;
  box.dataset.level = stale && state.level === "reassuring" ? "not assessed" : state.level;
  const fresh = !stale && one.rate_bpm !== null && one.signal_age_s <= FRESH_S;
  const before = stale ? "not known now" : one.rate_bpm === null ? "no rate seen" : `no rate for ${Math.round(one.signal_age_s)} s; it was ${one.rate_bpm}`;
  const rate = element("p", { class: `big-rate${fresh ? "" : " stale"}` }, fresh ? String(one.rate_bpm) : "–", element("small", {}, fresh ? "bpm, last 5 s" : before));
  const rows = [state.fetuses.length > 1 ? element("p", {}, `Fetus ${one.fetus}, the graver`) : null, rate, element("p", {}, one.baseline_bpm === null ? "No baseline" : `Baseline ${one.baseline_bpm}`),
    element("p", {}, one.contractions_per_10_min === null ? "Contractions not known" : `${one.contractions_per_10_min} contractions in 10 min`)];
  for (const other of one.classes.slice(1)) rows.push(element("p", { class: other.level === "alarming" ? "graver" : "soft" }, sign(other.level), `${other.standard.toUpperCase()}: ${other.label}${other.beyond ? " by its letter, with more beside it" : ""}`));
  for (const twin of state.fetuses) {
    if (twin !== one) rows.push(element("p", {}, sign(twin.level), `Fetus ${twin.fetus}: ${twin.label}. ${twin.lines[1][1]}`));
  }
  box.replaceChildren(...rows.filter(Boolean));
}

/** What was read a while ago is told as of then, and nothing of it reassures. */
function showLines(one) {
  const stale = Boolean(old(state, strip.end));
  linesStale = stale;
  const level = (given) => (stale && given === "reassuring" ? "not assessed" : given);
  const grave = [level(one.class_level), level(one.now_level), "", ""];
  document.getElementById("lines").replaceChildren(...one.lines.map(([title, text], row) =>
    element("div", { class: grave[row] === "alarming" ? "grave" : null },
      element("dt", {}, stale && title === "Right now" ? `At ${clockOf(start, state.at_s)}, not now` : title, title === "Class" ? element("span", { class: "at" }, ` at ${clockOf(start, one.class_at_s)}`) : null),
      element("dd", {}, row < 2 ? sign(grave[row]) : null, text))));
}

/** A bed of which nothing was read: no number, and no empty line that could be taken for a quiet one. */
function showNothing() {
  const box = document.getElementById("numbers");
  nothingSaid = nothingYet(state, strip.end);
  document.getElementById("now").textContent = "No trace read yet";
  box.dataset.level = "not assessed";
  box.replaceChildren(element("p", { class: "big-rate stale" }, "–", element("small", {}, "no rate seen")));
  document.getElementById("lines").replaceChildren(
    element("div", {}, element("dt", {}, "Not seen"), element("dd", {}, sign("not assessed"), nothingSaid)));
  showPrompts();
  showKnown();
  showPackets();
}

/** What the record says of this labour, and which reviews come next by it. */
function showKnown() {
  const next = nextReview(state.reviews || [], Date.now());
  const said = [...(state.known || []), next].filter(Boolean);
  const line = document.getElementById("known");
  line.hidden = !said.length;
  line.textContent = said.join(" · ");
}

/** What came of the packets beside what was plainly kept: nothing is dropped unsaid. */
function showPackets() {
  const { late = 0, doubled = 0, contradicting = 0 } = state.packets || {};
  const said = [
    late ? `${late} samples came too late to be read live (kept)` : "",
    contradicting ? `${contradicting} contradicted what had come before (the first stands)` : "",
    doubled ? `${doubled} came twice` : "",
  ].filter(Boolean);
  const line = document.getElementById("packets");
  line.hidden = !said.length;
  line.textContent = `From the sensors: ${said.join("; ")}.`;
}

const unfolded = new Set();

const ENDED = { "prolonged-fall": " Over now: the rate has come back.", "signal-lost": " There is a rate again." };

/** One thing to look at; several prompts where it was told as it went on. */
function prompt(group) {
  const one = group[0];
  const over = goesOn(state, one) === false;
  const words = element("span", { class: "prompt-text" }, `At ${clockOf(start, one.at_s)}: ${one.text}`);
  const item = element("li", { class: `prompt${one.acknowledged_at ? " seen" : ""}${over ? " over" : ""}`, "data-urgency": one.urgency },
    element("b", {}, sign(over ? "not assessed" : LEVEL_OF[one.urgency]), TITLES[one.kind] || one.kind), words);
  if (over) words.append(element("b", {}, ENDED[one.kind]));
  if (group.some((other) => other.escalated) && !one.acknowledged_at) words.append(element("span", { class: "prompt-late" }, " Not answered in time."));
  const rules = [...new Set(group.map((other) => other.rule))].reverse();
  const why = element("details", { open: unfolded.has(one.id) }, element("summary", {}, "Why"),
    ...rules.map((rule) => element("p", { class: "prompt-rule" }, `The rule: ${rule}.`)));
  why.addEventListener("toggle", () => (why.open ? unfolded.add(one.id) : unfolded.delete(one.id)));
  if (one.acknowledged_at) {
    item.append(element("span", { class: "prompt-by" }, `seen by ${one.acknowledged_by}`), why);
    return item;
  }
  const seen = element("button", { type: "button", "data-notice": one.id }, "Seen");
  seen.addEventListener("click", () => acknowledge(group));
  item.append(why, seen);
  return item;
}

async function acknowledge(group) {
  let name = sessionStorage.getItem("ebbline.seen-by") || "";
  if (!name) {
    name = (window.prompt("Your name or initials, to be written beside what you saw:", bed.dataset.name) || "").trim();
    if (!name) return;
    sessionStorage.setItem("ebbline.seen-by", name);
  }
  try {
    for (const one of group) await send("POST", `/api/live/beds/${labour}/notices/${one.id}/seen`, { by: name });
  } catch (error) {
    tellProblem(error);
  }
}

function showPrompts() {
  const urgency = (group) => Math.max(...group.map((one) => URGENCY.indexOf(one.urgency))) - (goesOn(state, group[0]) === false ? 0.5 : 0);
  const open = episodes(state.notices.filter((one) => !one.acknowledged_at))
    .sort((a, b) => urgency(b) - urgency(a) || b[0].at_s - a[0].at_s);
  const shown = all ? open : open.slice(0, OPEN_SHOWN);
  const seen = episodes(state.notices.filter((one) => one.acknowledged_at)).slice(0, SEEN_SHOWN);
  const more = document.getElementById("more");
  more.hidden = open.length <= OPEN_SHOWN;
  more.textContent = all ? "Only the most urgent" : `${open.length - OPEN_SHOWN} more not seen`;
  const list = document.getElementById("prompts");
  const held = document.activeElement?.dataset?.notice;
  list.replaceChildren(...shown.map(prompt), ...seen.map(prompt));
  if (held) list.querySelector(`[data-notice="${held}"]`)?.focus();
}

const gravestOf = (one) => [...one.fetuses].sort((a, b) => GRAVITY.indexOf(b.level) - GRAVITY.indexOf(a.level))[0];

function show(next) {
  if (next.ended) {
    document.getElementById("now").textContent = "The watching has ended.";
    return;
  }
  state = next;
  const gravest = gravestOf(state);
  if (!gravest) {
    showNothing();
    return;
  }
  document.getElementById("now").textContent = `Read ${clockOf(start, state.at_s, true)}; class of ${clockOf(start, gravest.class_at_s)}; final up to ${clockOf(start, state.final_s)}`;
  showNumbers(gravest);
  showLines(gravest);
  showPrompts();
  showKnown();
  showPackets();
  strip.setFindings(gravest.events, gravest.baseline);
}

let asking = false;
async function fetchSamples() {
  if (asking || document.hidden) return;
  asking = true;
  try {
    strip.add(await get(`/api/live/beds/${labour}/samples?since_s=${strip.wanted.toFixed(1)}`));
    describe();
    // The trace may have run on while the reading has not.
    if (state && !state.fetuses.length && nothingSaid !== nothingYet(state, strip.end)) showNothing();
    if (state?.fetuses?.length) {
      showNumbers(gravestOf(state));
      if (linesStale !== Boolean(old(state, strip.end))) showLines(gravestOf(state));
    }
  } catch (error) {
    if (error.status) tellProblem(error);
  } finally {
    asking = false;
  }
}

function describe() {
  const { start_s: from, end_s: to } = strip.shown;
  document.getElementById("view").textContent = `${clockOf(start, from)} to ${clockOf(start, to)}, paper ${strip.speed} cm/min${strip.follow ? "" : "; not following"}`;
  document.getElementById("follow").setAttribute("aria-pressed", String(strip.follow));
}
strip.onview = describe;

for (const button of document.querySelectorAll("[data-speed]")) {
  button.addEventListener("click", () => {
    strip.setSpeed(Number(button.dataset.speed));
    for (const other of document.querySelectorAll("[data-speed]")) other.setAttribute("aria-pressed", String(other === button));
    describe();
  });
}
for (const button of document.querySelectorAll("[data-move]")) button.addEventListener("click", () => strip.move(Number(button.dataset.move) * 0.5));
document.getElementById("follow").addEventListener("click", () => strip.followOn());
document.getElementById("end").addEventListener("click", async () => {
  if (!window.confirm("End the watching of this labour? Its trace and prompts are kept.")) return;
  try {
    await send("POST", `/api/live/beds/${labour}/end`);
    window.location.assign("/live");
  } catch (error) {
    tellProblem(error);
  }
});

document.getElementById("more").addEventListener("click", () => {
  all = !all;
  showPrompts();
});

show(JSON.parse(document.getElementById("state").textContent));
listen(`/api/live/events?labour=${labour}`, show, (connected) => {
  document.getElementById("link").hidden = connected;
});
fetchSamples();
setInterval(fetchSamples, 1000);
