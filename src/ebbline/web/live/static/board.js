// All beds, danger first: the few things that matter of each.
import { get, send, tellProblem } from "../api.js";
import { FRESH_S, GRAVITY, LEVEL_OF, TITLES, URGENCY, bedName, clockOf, element, episodes, goesOn, inMinutes, listen, nothingYet, old, sign } from "./words.js";

const board = document.getElementById("board");
const empty = document.getElementById("empty");
const states = new Map();
/** So many beds stand on one screen without scrolling. */
const MOST_IN_SIGHT = 10;
const order = new Intl.Collator("en", { numeric: true });

for (const state of JSON.parse(document.getElementById("states").textContent)) states.set(state.labour, state);

const open = (state) => (state.notices || []).filter((one) => !one.acknowledged_at);

/** Unanswered prompts before levels: what somebody should look at now comes first. */
function gravity(state) {
  const urgent = Math.max(-1, ...open(state).map((one) => URGENCY.indexOf(one.urgency) * 2 + (one.escalated ? 1 : 0)));
  const level = old(state) && state.level === "reassuring" ? "not assessed" : state.level;
  // What any standard calls gravest weighs as a prompt to look soon does, below one to look now.
  const graver = state.fetuses.some((one) => one.classes.some((by) => by.level === "alarming")) ? 4 : 0;
  return GRAVITY.indexOf(level) * 20 + graver + urgent;
}

/** "FIGO, NICE: pathological". */
function byLabel(classes) {
  const labels = [...new Set(classes.map((one) => one.label))];
  return labels.map((label) => `${classes.filter((one) => one.label === label).map((one) => one.standard.toUpperCase()).join(", ")}: ${label}`).join("; ");
}

/** The most urgent prompt that nobody has answered; null without one. */
function promptOf(state) {
  const prompts = episodes(open(state)).sort((a, b) => URGENCY.indexOf(b[0].urgency) - URGENCY.indexOf(a[0].urgency) || b[0].at_s - a[0].at_s);
  if (!prompts.length) return null;
  const first = prompts[0][0];
  const over = goesOn(state, first) === false ? ", over now" : "";
  const more = prompts.length > 1 ? `; ${prompts.length - 1} more` : "";
  const passed = prompts.flat().some((one) => one.escalated);
  return element("span", { class: `tile-prompt${passed ? " passed-on" : ""}` }, sign(over ? "not assessed" : LEVEL_OF[first.urgency]), `${TITLES[first.kind] || first.kind} ${clockOf(state.started_at, first.at_s)}${over}${passed ? ", not answered" : ""}${more}`);
}

function tile(state) {
  const gravest = [...state.fetuses].sort((a, b) => GRAVITY.indexOf(b.level) - GRAVITY.indexOf(a.level))[0];
  const link = element("a", { class: "bed-tile", href: `/live/${state.labour}`, "data-level": state.level });
  const head = element("span", { class: "tile-head" }, element("span", { class: "tile-bed" }, element("b", {}, bedName(state.bed)), element("span", { class: "soft", title: "case number" }, state.case)));
  link.append(head);
  if (!gravest) {
    link.append(element("span", { class: "tile-class" }, sign("not assessed"), "No trace read yet"), element("span", { class: "tile-now" }, nothingYet(state)), promptOf(state) || "");
    return link;
  }
  const stale = old(state);
  if (stale && state.level === "reassuring") link.dataset.level = "not assessed";
  const fresh = !stale && gravest.rate_bpm !== null && gravest.signal_age_s <= FRESH_S;
  head.append(element("span", { class: "tile-rate" }, fresh ? String(gravest.rate_bpm) : "–", element("small", {}, fresh ? "bpm, last 5 s" : "no rate now")));
  const which = state.fetuses.length > 1 ? `Fetus ${gravest.fetus}: ` : "";
  link.append(element("span", { class: "tile-class" }, sign(stale && gravest.class_level === "reassuring" ? "not assessed" : gravest.class_level), `${which}${gravest.label}`, element("small", {}, `at ${clockOf(state.started_at, gravest.class_at_s)}`)));
  const graver = gravest.classes.slice(1).filter((one) => one.level === "alarming" && gravest.class_level !== "alarming");
  if (graver.length) link.append(element("span", { class: "tile-other" }, sign("alarming"), byLabel(graver)));
  link.append(element("span", { class: "tile-now" }, stale ? element("b", {}, `${stale} At ${clockOf(state.started_at, state.at_s)}: `) : null, gravest.lines[1][1]));
  const prompt = promptOf(state);
  if (prompt) link.append(prompt);
  const foot = element("span", { class: "tile-foot" });
  const rate = gravest.contractions_per_10_min;
  foot.append(element("span", {}, rate === null ? "contractions not known" : `${rate} in 10 min`));
  foot.append(element("span", {}, gravest.baseline_bpm === null ? "no baseline" : `baseline ${gravest.baseline_bpm}`));
  link.append(foot);
  return link;
}

/** Reviews of all beds in the order in which they fall due, from the records. */
const reviews = document.getElementById("reviews");
async function showReviews() {
  if (document.hidden) return;
  let rows;
  try {
    rows = await get("/api/record/reviews");
  } catch (error) {
    if (error.status) tellProblem(error);
    return;
  }
  const now = Date.now();
  document.getElementById("reviews-part").hidden = !rows.length;
  reviews.replaceChildren(...rows.map((one) => {
    const at = Date.parse(one.due_at);
    const over = at < now;
    const when = over ? `overdue for ${inMinutes(now - at)}` : `in ${inMinutes(at - now)}`;
    return element("li", { class: over ? "over" : null },
      element("a", { href: `/record/${one.case}` },
        element("span", { class: "review-when" }, sign(over ? "caution" : "not assessed"), when),
        element("b", {}, bedName(one.bed)), element("span", {}, one.title), element("span", { class: "soft" }, clockOf(one.due_at, 0))));
  }));
}

const shown = new Map();
/** What a tile says that changes while nothing comes. */
const told = (state) => (state.fetuses.length ? old(state) : nothingYet(state));

function draw() {
  const sorted = [...states.values()].sort((a, b) => gravity(b) - gravity(a) || order.compare(a.bed, b.bed));
  empty.hidden = sorted.length > 0;
  board.dataset.beds = sorted.length > 4 ? "many" : "few";
  board.dataset.fits = sorted.length > 4 && sorted.length <= MOST_IN_SIGHT ? "yes" : "no";
  const focused = document.activeElement?.closest("#board li")?.dataset.labour;
  const items = sorted.map((state) => {
    const kept = shown.get(state.labour);
    if (kept && kept.state === state && kept.stale === told(state)) return kept.item;
    const item = element("li", { "data-labour": state.labour }, tile(state));
    shown.set(state.labour, { state, item, stale: told(state) });
    return item;
  });
  if (items.some((item, at) => board.children[at] !== item) || board.children.length !== items.length) board.replaceChildren(...items);
  if (focused && document.activeElement === document.body) shown.get(focused)?.item.querySelector("a").focus();
}

let due = null;
function later() {
  due ??= setTimeout(() => {
    due = null;
    draw();
  }, 400);
}

listen("/api/live/events", (state) => {
  if (state.ended) {
    states.delete(state.labour);
    shown.delete(state.labour);
  } else states.set(state.labour, state);
  later();
}, (connected) => {
  document.getElementById("link").hidden = connected;
});
draw();
setInterval(draw, 10000);
showReviews();
setInterval(showReviews, 30000);

document.getElementById("begin").addEventListener("submit", async (event) => {
  event.preventDefault();
  const given = new FormData(event.target);
  const weeks = String(given.get("weeks")).trim().replace(",", ".");
  try {
    const state = await send("POST", "/api/live/beds", { bed: given.get("bed"), case: given.get("case"), weeks: weeks ? Number(weeks) : null });
    states.set(state.labour, state);
    event.target.reset();
    draw();
  } catch (error) {
    tellProblem(error);
  }
});

document.getElementById("demo").addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = event.submitter;
  const given = new FormData(event.target);
  button.disabled = true;
  try {
    for (const state of await send("POST", "/api/live/demo", { beds: Number(given.get("beds")), speed: Number(given.get("speed")) })) states.set(state.labour, state);
    draw();
  } catch (error) {
    tellProblem(error);
  } finally {
    button.disabled = false;
  }
});
