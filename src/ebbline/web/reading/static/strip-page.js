// The page of one recording: samples and findings on the strip, the reading in the rail beside it,
// every state in the address, every step taken back with Ctrl+Z, and nothing typed is lost.
import { bytes, get, piece, send, tell, tellProblem } from "../api.js";
import * as drafts from "../drafts.js";
import { Strip } from "../strip/strip.js";
import { wireTools } from "../strip/tools.js";
import * as address from "./address.js";
import { guide } from "./guide.js";
import { hear } from "./heard.js";
import { Undo } from "./undo.js";

const KINDS = { "fetal heart rate": "heart", "uterine activity": "uterine", "maternal heart rate": "maternal" };
const DECELERATIONS = ["early", "late", "variable", "prolonged"];
const LEVELS = ["baseline", "variability"];
const FOLDED = "ebbline.rail-folded";

const desk = document.getElementById("desk");
const key = desk.dataset.key;
const api = `/api/recordings/${key}`;
const panel = document.getElementById("panel");
const card = document.getElementById("finding-card");
const classBar = document.getElementById("class-bar");
const swipe = document.getElementById("swipe");
const box = document.getElementById("strip");
const begun = address.read();
const fetuses = desk.dataset.fetuses.split(",").map(Number);
let fetus = fetuses.includes(begun.fetus) ? begun.fetus : fetuses[0] || 1;
let chosenWindow = windowFrom(begun.window);
let tab = begun.tab || "reading";
let standard = begun.standard;
let whose = begun.whose;

async function loadRecording(path) {
  const recording = await get(path);
  const traces = await Promise.all(recording.channels.map(async (channel) => ({
    ...channel,
    kind: KINDS[channel.kind],
    samples: new Float32Array(await bytes(channel.samples_href)),
  })));
  return { ...recording, traces };
}

function windowFrom(words) {
  const pair = /^(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)$/.exec(words || "");
  return pair ? { start_s: Number(pair[1]), end_s: Number(pair[2]) } : null;
}

const mayFail = (act) => async (...given) => {
  try {
    return await act(...given);
  } catch (error) {
    tellProblem(error);
    return undefined;
  }
};

// -- drawing -----------------------------------------------------------------------------------

function draw(found) {
  strip.setItems(found.items);
  strip.setBaseline(found.baseline);
  strip.setColumns(found.columns);
  const chosen = found.items.find((one) => one.id === strip.selected);
  showFinding(chosen || null);
  fillSwipe();
}

// Only what was asked for last is drawn: an answer that comes late is older than what stands.
let turn = 0;
async function drawLatest(promise) {
  const mine = ++turn;
  const found = await promise;
  if (mine === turn) draw(found);
  return found;
}

const refresh = mayFail(async () => {
  await drawLatest(get(`${api}/findings?fetus=${fetus}`));
  await showPanel();
});

let asking;
function fetchPanel() {
  asking?.abort();
  asking = new AbortController();
  const query = new URLSearchParams({ fetus: String(fetus) });
  if (chosenWindow) {
    query.set("from_s", String(chosenWindow.start_s));
    query.set("to_s", String(chosenWindow.end_s));
  }
  return piece(`/recordings/${key}/panel?${query}`, { signal: asking.signal });
}

/** The panel as it was asked for last; who waits for one that was overtaken waits for that one. */
let latestPanel;
function showPanel(fetched = fetchPanel()) {
  latestPanel = fillPanel(fetched);
  return latestPanel;
}

async function fillPanel(fetched) {
  let text;
  try {
    text = await fetched;
  } catch (error) {
    if (error.name === "AbortError") return latestPanel;
    throw error;
  }
  const opened = new Set([...panel.querySelectorAll("details[open] > summary")].map(summaryWords));
  const place = panel.parentElement.scrollTop;
  /** @type {any} */
  const active = panel.contains(document.activeElement) ? document.activeElement : null;
  const typing = active && { form: active.closest("form")?.id, name: active.name, at: active.selectionStart };
  panel.innerHTML = text;
  const bar = panel.querySelector('[data-for="class-bar"]');
  if (bar) {
    classBar.replaceChildren(...bar.childNodes);
    bar.remove();
  }
  panel.parentElement.scrollTop = place;
  const window_ = panel.querySelector("[data-window]");
  strip.setWindow(window_ ? window_.dataset.window.split(",").map(Number) : null);
  for (const one of panel.querySelectorAll("details > summary")) if (opened.has(summaryWords(one))) one.parentElement.open = true;
  showTab(tab);
  showStandard();
  showWhose();
  followForms();
  const again = typing?.form && document.getElementById(typing.form)?.elements[typing.name];
  if (again) {
    again.focus({ preventScroll: true });
    if (typing.at !== null && again.setSelectionRange && again.type !== "number") again.setSelectionRange(typing.at, typing.at);
  }
  fillSwipe();
}

function followForms() {
  const note = document.getElementById("note-form");
  if (note) drafts.follow(note, `${key}.note`);
  const labour = document.getElementById("labour-form");
  if (!labour) return;
  drafts.follow(labour, `${key}.labour`, {
    onRestored() {
      const said = Object.assign(document.createElement("p"), { className: "note caution-note", textContent: "These are values you typed and did not keep yet." });
      const leave = Object.assign(document.createElement("button"), { type: "button", textContent: "Give them up" });
      leave.addEventListener("click", () => {
        drafts.drop(`${key}.labour`);
        showPanel().catch(tellProblem);
      });
      said.append(" ", leave);
      labour.prepend(said);
    },
  });
}

function showTab(name, step = false) {
  const wanted = document.getElementById(`tab-${name}`) ? name : "reading";
  tab = name;
  for (const one of panel.querySelectorAll('[role="tab"]')) {
    const chosen = one.id === `tab-${wanted}`;
    one.setAttribute("aria-selected", String(chosen));
    one.tabIndex = chosen ? 0 : -1;
    document.getElementById(one.getAttribute("aria-controls")).hidden = !chosen;
  }
  address.write({ tab: name === "reading" ? null : name }, { step });
}

const summaryWords = (summary) => summary.textContent.replace(/\s+/g, " ").trim();

/** Open the reasons of one standard, close the others; none chosen: as the panel came. */
function showStandard() {
  if (!standard) return;
  for (const one of panel.querySelectorAll("[data-standard]")) one.open = one.dataset.standard === standard;
}

/** The reading as computed or with corrections, as the reader chose; corrected where none was chosen. */
function showWhose() {
  const parts = [...panel.querySelectorAll("[data-reading]")];
  const wanted = parts.some((part) => part.dataset.reading === whose) ? whose : "corrected";
  for (const one of panel.querySelectorAll("[data-whose]")) one.setAttribute("aria-pressed", String(one.dataset.whose === wanted));
  for (const part of parts) part.hidden = part.dataset.reading !== wanted;
}

function showOnStrip(windows) {
  box.scrollIntoView({ block: "nearest", behavior: "smooth" });
  showFinding(null);
  strip.showEvidence(windows);
}

// -- the chosen finding, and the list to swipe -----------------------------------------------------

function showFinding(item) {
  card.hidden = !item;
  if (item) {
    const close = Object.assign(document.createElement("button"), { className: "quiet card-close", textContent: "Close" });
    close.addEventListener("click", () => strip.select(null));
    card.replaceChildren(close, ...strip.fullCard(item));
  } else card.replaceChildren();
}

card.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  strip.select(null);
  strip.canvas.focus({ preventScroll: true });
});

function fillSwipe() {
  const window_ = strip.window;
  const items = strip.visibleItems().filter((one) => one.travel !== false && (!window_ || (one.end_s > window_[0] && one.start_s < window_[1])));
  swipe.replaceChildren(...items.map((one) => {
    const entry = document.createElement("li");
    const button = Object.assign(document.createElement("button"), { type: "button" });
    button.dataset.item = one.id;
    button.append(...strip.shortCard(one));
    entry.append(button);
    return entry;
  }));
  markSwipe();
  // What matters most stands in sight: the latest fall or sinusoidal pattern, else the latest of all.
  const first = items.filter((one) => one.kind === "sinusoidal" || DECELERATIONS.includes(one.kind)).at(-1) || items.at(-1);
  const shown = swipe.querySelector('[aria-current="true"]') || swipe.querySelector(`[data-item="${CSS.escape(first?.id || "")}"]`);
  if (shown) swipe.scrollLeft = shown.parentElement.offsetLeft - swipe.offsetLeft - 8;
}

function markSwipe() {
  for (const one of swipe.querySelectorAll("button")) one.setAttribute("aria-current", String(one.dataset.item === strip.selected));
}

swipe.addEventListener("click", (event) => {
  const one = event.target.closest("[data-item]");
  if (one) strip.select(one.dataset.item, { travel: true });
});

// -- what the rail's buttons do --------------------------------------------------------------------

const changed = async (promise, words) => {
  const found = await drawLatest(promise);
  await showPanel();
  if (words) tell(words);
  return found;
};

const chooseStandard = (name) => {
  standard = name;
  address.write({ standard }, { step: true });
  setRail(true);
  showTab("reading");
  showStandard();
  panel.querySelector(`[data-standard="${name}"] summary`)?.focus();
  panel.querySelector(`[data-standard="${name}"]`)?.scrollIntoView({ block: "nearest" });
};

classBar.addEventListener("click", (event) => {
  const one = event.target.closest("[data-choose-standard]");
  if (one) chooseStandard(one.dataset.chooseStandard);
  else if (event.target.closest(".four-lines")) classBar.classList.toggle("whole");
});

const spans = (words) => words.trim().split(" ").map((pair) => {
  const [start, end] = pair.split(",").map(Number);
  return { start_s: start, end_s: end };
});

panel.addEventListener("click", mayFail(async (event) => {
  const one = event.target.closest("button");
  if (!one) return;
  const data = one.dataset;
  if (one.getAttribute("role") === "tab") showTab(one.id.replace("tab-", ""), true);
  else if (data.evidence !== undefined) showOnStrip(spans(data.evidence));
  else if (data.show) showOnStrip(spans(data.show));
  else if (data.unmark) await takeBack("mark", data.unmark);
  else if (data.uncorrect) await takeBack("correction", data.uncorrect);
  else if (data.reveal !== undefined) tools.blind(false);
  else if (data.whose) {
    whose = data.whose;
    address.write({ whose: whose === "corrected" ? null : whose });
    showWhose();
  } else if (data.windowChoice) await chooseWindow(data.windowChoice);
}));

panel.addEventListener("keydown", (event) => {
  const list = [...panel.querySelectorAll('[role="tab"]')];
  const here = list.indexOf(event.target);
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (here < 0 || !step) return;
  const next = list[(here + step + list.length) % list.length];
  showTab(next.id.replace("tab-", ""));
  next.focus();
  event.preventDefault();
});

async function chooseWindow(choice) {
  if (choice === "last") chosenWindow = null;
  else if (choice === "all") chosenWindow = { start_s: 0, end_s: Math.floor(strip.duration) };
  else {
    const { start_s: s, end_s: e } = strip.shown;
    chosenWindow = { start_s: Math.round(Math.max(s, 0)), end_s: Math.floor(Math.min(e, strip.duration)) };
  }
  address.write({ window: chosenWindow && `${chosenWindow.start_s}-${chosenWindow.end_s}` }, { step: true });
  await showPanel();
}

const takeIn = mayFail(async (file) => {
  const form = new FormData();
  form.append("file", file, file.name);
  const { marks } = await send("POST", `${api}/annotations?fetus=${fetus}`, form);
  await refresh();
  tell(`${marks} annotations of ${file.name} are now marks of yours.`);
});

panel.addEventListener("change", (event) => {
  if (event.target.id === "atr-file" && event.target.files.length) takeIn(event.target.files[0]);
  if (event.target.id !== "fetus") return;
  fetus = Number(event.target.value);
  address.write({ fetus: fetus === fetuses[0] ? null : fetus }, { step: true });
  strip.setFetus(fetus);
  refresh();
});

panel.addEventListener("submit", mayFail(async (event) => {
  event.preventDefault();
  const form = event.target;
  if (form.id === "note-form") {
    const { start_s: s, end_s: e } = strip.shown;
    await keepMark({ kind: "note", start_s: Math.max(s, 0), end_s: Math.min(e, strip.duration), note: form.elements.note.value });
    drafts.drop(`${key}.note`);
    form.reset();
    await showPanel();
    tell("Kept.");
  } else if (form.id === "labour-form") await keepLabour(form);
}));

async function keepLabour(form, version = Number(form.dataset.version)) {
  const text = (name) => form.elements[name].value;
  const number = (name) => (text(name) === "" ? null : Number(text(name)));
  const known = (name) => ({ true: true, false: false })[text(name)] ?? null;
  const minutes = number("second_stage_min");
  const said = {
    weeks: number("weeks"), stage: text("stage"), second_stage_start_s: minutes === null ? null : minutes * 60,
    oxytocin: known("oxytocin"), epidural: known("epidural"), meconium: known("meconium"), fever: known("fever"), parity: number("parity"),
  };
  try {
    await send("PUT", `${api}/context`, { version, ...said });
  } catch (error) {
    if (error.status !== 409 || !error.said.kept) throw error;
    chooseBetween(said, error.said, form);
    return;
  }
  drafts.drop(`${key}.labour`);
  await refresh();
  tell("Kept, and read again.");
}

const NAMES = { weeks: "Weeks of gestation", stage: "Stage", second_stage_start_s: "Second stage began", oxytocin: "Oxytocin", epidural: "Epidural", meconium: "Meconium", fever: "Fever", parity: "Births before" };
const inWords = (name, value) => (value === null || value === "unknown" ? "not known" : value === true ? "yes" : value === false ? "no" : name === "second_stage_start_s" ? `minute ${Math.round(value / 60)}` : String(value));

/** Someone else kept other values meanwhile: both side by side, and the reader decides. */
function chooseBetween(mine, { what, kept }, form) {
  const dialog = document.createElement("dialog");
  dialog.setAttribute("aria-labelledby", "both-title");
  const rows = Object.keys(NAMES).filter((name) => mine[name] !== kept.context[name]);
  const title = Object.assign(document.createElement("h2"), { id: "both-title", textContent: "Two people said what is known" });
  const words = Object.assign(document.createElement("p"), { textContent: `${what} Nothing of yours was kept yet.` });
  const table = document.createElement("table");
  table.className = "list";
  const line = (cells, tag) => {
    const row = document.createElement("tr");
    row.append(...cells.map((cell) => Object.assign(document.createElement(tag), { textContent: cell })));
    table.append(row);
  };
  line(["", "Yours", `Kept by ${kept.author}`], "th");
  for (const name of rows) line([NAMES[name], inWords(name, mine[name]), inWords(name, kept.context[name])], "td");
  if (!rows.length) line(["Both are the same.", "", ""], "td");
  const end = Object.assign(document.createElement("div"), { className: "dialog-end" });
  const button = (text, act, main) => {
    const one = Object.assign(document.createElement("button"), { textContent: text, className: main ? "main-action" : "" });
    one.addEventListener("click", () => {
      dialog.close();
      act();
    });
    end.append(one);
  };
  button(`Leave ${kept.author}'s`, () => {
    drafts.drop(`${key}.labour`);
    refresh();
  });
  button("Keep mine instead", mayFail(() => keepLabour(form, kept.version)), true);
  dialog.append(title, words, table, end);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

// -- marks and corrections on the strip ----------------------------------------------------------

const pathOf = { mark: "marks", correction: "corrections" };
const idsOf = (found, kind) => new Set(found.items.filter((one) => one.id.startsWith(`${kind}-`)).map((one) => Number(one.id.slice(kind.length + 1))));

/** Make a mark or correction; answers with its number, so that it can be taken back. */
async function make(kind, data) {
  const before = idsOf({ items: strip.items }, kind);
  const path = kind === "mark" ? `${api}/marks` : `${api}/corrections?fetus=${data.fetus}`;
  const place = `${key}.unsent.${kind}`;
  drafts.keep(place, data);
  let found;
  try {
    found = await send("POST", path, data);
  } catch (error) {
    if (error.status) drafts.drop(place);
    else {
      tell(error.message, { kind: "problem", lasting: true, act: { words: "Send it again", run: mayFail(() => makeStep(kind, data)) } });
      return null;
    }
    throw error;
  }
  drafts.drop(place);
  await changed(found);
  const fresh = [...idsOf(found, kind)].filter((id) => !before.has(id));
  if (fresh.length) return Math.max(...fresh);
  const all = await get(`${api}/corrections?fetus=${data.fetus}`);
  return Math.max(...all.map((one) => one.id));
}

async function makeStep(kind, data, words) {
  const id = await make(kind, data);
  if (id === null) return;
  undo.add({ kind, id, data, taken: false });
  if (words) tell(words);
}

async function withdraw(kind, id) {
  await changed(send("POST", `${api}/${pathOf[kind]}/${id}/withdraw`, { fetus }));
}

async function takeBack(kind, id) {
  const data = await dataOf(kind, Number(id));
  await withdraw(kind, id);
  if (data) undo.add({ kind, id: Number(id), data, taken: true });
  tell("Taken back. It stays on record.");
}

async function dataOf(kind, id) {
  if (kind === "correction") return { ...(await get(`${api}/corrections?fetus=${fetus}`)).find((one) => one.id === id)?.change, fetus };
  const item = strip.items.find((one) => one.id === `mark-${id}`);
  return item && { fetus, kind: item.kind, start_s: item.start_s, end_s: item.end_s, value: item.value, note: item.note };
}

const keepMark = (mark) => makeStep("mark", { fetus, ...mark });
const correct = mayFail((change, words) => makeStep("correction", { fetus, ...change }, words));

const undo = new Undo(`${key}.${desk.dataset.reader}`, async (step, back) => {
  if (back) {
    await withdraw(step.kind, step.id);
    return { taken: step.taken };
  }
  return { id: await make(step.kind, step.data), taken: step.taken };
});

function showUndo() {
  for (const [act, steps] of [["undo", undo.done], ["redo", undo.undone]]) {
    const button = document.querySelector(`[data-act="${act}"]`);
    if (button) button.disabled = !steps.length;
  }
}
undo.onChange = showUndo;

const stepWords = (step) => (step.kind === "mark" ? "your mark" : "your correction");
const undoLast = mayFail(async () => {
  const step = await undo.undo();
  if (step) tell(`Undone: ${stepWords(step)}. It stays on record.`);
});
const redoLast = mayFail(async () => {
  const step = await undo.redo();
  if (step) tell(`Made again: ${stepWords(step)}.`);
});

addEventListener("keydown", (event) => {
  const typing = event.target.closest?.("input, textarea, select, dialog");
  if (typing || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
  event.preventDefault();
  if (event.shiftKey) redoLast();
  else undoLast();
});

const target = (item) => ({ target_start_s: item.start_s, target_end_s: item.end_s });
const groupOf = (item) => (["acceleration", "contraction"].includes(item.kind) ? item.kind : DECELERATIONS.includes(item.kind) || item.kind.startsWith("gradual") ? "deceleration" : null);

function actionsFor(item, into) {
  const button = (words, act) => {
    const one = Object.assign(document.createElement("button"), { type: "button", textContent: words });
    one.addEventListener("click", act);
    into.append(one);
  };
  if (item.layer === "own") {
    button("Take back", mayFail(() => takeBack("mark", item.id.replace("mark-", ""))));
    return;
  }
  if (LEVELS.includes(item.kind) && item.layer === "corrected") {
    button("Take back", mayFail(() => takeBack("correction", item.id.replace("correction-", ""))));
    return;
  }
  const group = groupOf(item);
  if (!group || item.layer === "other" || item.struck) return;
  if (group === "deceleration") {
    const choice = document.createElement("select");
    choice.setAttribute("aria-label", "Name it otherwise");
    choice.append(new Option("Name it otherwise…", ""), ...DECELERATIONS.filter((k) => k !== item.kind).map((k) => new Option(k, k)));
    choice.addEventListener("change", () => choice.value && correct({ action: "rename", group, kind: choice.value, ...target(item) }, `Named ${choice.value}. The classes were made anew.`));
    into.append(choice);
  }
  button("Move its ends", () => {
    moving = item;
    strip.setTool("span");
    tell("Draw from where it begins to where it ends. Escape leaves it as it is.");
  });
  if (item.layer === "corrected") button("Take back", mayFail(() => takeBack("correction", item.id.replace("correction-", ""))));
  else button("Take it out", () => correct({ action: "delete", group, ...target(item) }, "Taken out. The classes were made anew."));
}

let moving = null;
const drawn = mayFail(async (tool, kind, { start_s, end_s, level }) => {
  if (moving) {
    const item = moving;
    moving = null;
    strip.setTool("travel");
    await correct({ action: "move", group: groupOf(item), ...target(item), start_s, end_s }, "Moved. The classes were made anew.");
  } else if (tool === "mark") {
    if (kind === "note") {
      setRail(true);
      showTab("marks");
      panel.querySelector("#note-form textarea")?.focus();
    } else await keepMark({ kind, start_s, end_s, value: level === null ? null : Math.round(level) });
  } else if (tool === "correct") {
    if (LEVELS.includes(kind)) setLevel(kind, start_s, end_s, level);
    else {
      const named = DECELERATIONS.includes(kind);
      await correct({ action: "add", group: named ? "deceleration" : kind, kind: named ? kind : null, start_s, end_s }, "Added. The classes were made anew.");
    }
  }
});

/** Ask how many beats a baseline or a bandwidth is; the height drawn at is the first idea. */
function setLevel(group, start_s, end_s, level) {
  const dialog = document.createElement("dialog");
  dialog.setAttribute("aria-labelledby", "level-title");
  const baseline = group === "baseline";
  dialog.innerHTML = `<form class="stack"><h2 id="level-title"></h2>
    <label><span></span> <input name="value" type="number" required inputmode="numeric" step="1"></label>
    <label>Why, if you want to say <textarea name="note" maxlength="1000"></textarea></label>
    <div class="dialog-end"><button type="button" data-leave>Leave as it is</button><button class="main-action">Set it</button></div></form>`;
  dialog.querySelector("h2").textContent = baseline ? "Baseline of this stretch" : "Variability of this stretch";
  dialog.querySelector("label span").textContent = baseline ? "Beats a minute" : "Bandwidth, beats a minute";
  const form = dialog.querySelector("form");
  const value = form.elements.value;
  value.min = baseline ? 50 : 0;
  value.max = baseline ? 220 : 80;
  if (baseline && level) value.value = Math.round(level);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const said = { action: "set", group, start_s, end_s, value: Number(value.value), note: form.elements.note.value };
    dialog.close();
    await correct(said, "Set. The classes were made anew.");
  });
  form.querySelector("[data-leave]").addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
  value.focus();
}

// -- the rail, and the address ---------------------------------------------------------------------

function setRail(open) {
  desk.classList.toggle("folded", !open);
  localStorage.setItem(FOLDED, open ? "" : "yes");
  document.querySelector('[data-act="rail"]')?.setAttribute("aria-pressed", String(open));
}

let viewing;
function keepView() {
  clearTimeout(viewing);
  viewing = setTimeout(() => {
    const { start_s: s, end_s: e } = strip.shown;
    address.write({ from: Math.round(s), to: Math.round(e) });
  }, 250);
}

function showView({ from, to }, smooth) {
  if (from === null || to === null || to <= from) return false;
  strip.goto(from, (to - from) / strip.wide, smooth);
  return true;
}

address.onBack(async (state) => {
  const window_ = windowFrom(state.window);
  const other = JSON.stringify(window_) !== JSON.stringify(chosenWindow) || (state.fetus || fetuses[0]) !== fetus;
  chosenWindow = window_;
  fetus = state.fetus || fetuses[0];
  standard = state.standard;
  whose = state.whose;
  tab = state.tab || "reading";
  strip.setFetus(fetus);
  if (other) await refresh();
  showView(state, false);
  strip.select(state.finding);
  showTab(tab);
  showStandard();
  showWhose();
  guide(state.guide || 0);
});

/** What lies above the strip, and the tools at the foot of a phone, leave it the rest of the screen. */
const stripSide = document.querySelector(".strip-side");
const bar = document.getElementById("tools");
function measureAbove() {
  const below = getComputedStyle(bar).position === "fixed" ? bar.offsetHeight : 0;
  const above = stripSide.getBoundingClientRect().top + scrollY + below;
  desk.style.setProperty("--above", `${Math.round(above)}px`);
}
new ResizeObserver(measureAbove).observe(classBar);
addEventListener("resize", measureAbove);

// -- beginning -----------------------------------------------------------------------------------

setRail(localStorage.getItem(FOLDED) !== "yes");
// samples, findings and reading are asked for at the same time
const loading = { recording: loadRecording(api), found: get(`${api}/findings?fetus=${fetus}`), panel: fetchPanel() };
for (const one of Object.values(loading)) one.catch(() => {});
const strip = new Strip(box, { label: "Strip of this recording", fit: true, details: showFinding });
let tools;
try {
  strip.load(await loading.recording);
  strip.setFetus(fetus);
  const marks = [...document.getElementById("mark-kinds").content.children].map((one) => ({ kind: one.dataset.kind, words: one.textContent, level: one.dataset.kind === "baseline" }));
  const added = [
    { kind: "deceleration", words: "deceleration, kind by rule" },
    ...DECELERATIONS.map((kind) => ({ kind, words: `${kind} deceleration` })),
    { kind: "acceleration", words: "acceleration" },
    { kind: "contraction", words: "contraction" },
    { kind: "baseline", words: "set the baseline", level: true },
    { kind: "variability", words: "set the variability" },
  ];
  const blindNow = desk.dataset.blind === "yes";
  strip.setBlind(blindNow);
  const withoutCorrecting = (blind) => {
    for (const one of document.querySelectorAll('[data-tool="correct"]')) one.disabled = blind;
  };
  tools = wireTools(strip, document.getElementById("tools"), {
    hand: { mark: marks, correct: added },
    onSpan: drawn,
    onBlind: mayFail(async (blind) => {
      withoutCorrecting(blind);
      await send("POST", `${api}/blind`, { blind });
      await refresh();
    }),
    acts: { undo: undoLast, redo: redoLast, rail: () => setRail(desk.classList.contains("folded")) },
    keys: { r: () => setRail(desk.classList.contains("folded")) },
  });
  document.querySelector('[data-act="blind"]').setAttribute("aria-checked", String(blindNow));
  withoutCorrecting(blindNow);
  showUndo();
  strip.addEventListener("actions", ({ detail }) => actionsFor(detail.item, detail.box));
  strip.addEventListener("tool", ({ detail }) => {
    if (detail.tool === "travel") moving = null;
  });
  draw(await loading.found);
  await showPanel(loading.panel);
  if (!showView(begun, false) && strip.window) strip.goto(strip.window[1] - strip.wide * strip.spp * 0.98, strip.spp, false);
  if (begun.finding) strip.select(begun.finding, { travel: begun.from === null });
  strip.addEventListener("view", keepView);
  strip.addEventListener("select", ({ detail }) => {
    showFinding(detail.item);
    markSwipe();
    swipe.querySelector('[aria-current="true"]')?.scrollIntoView({ block: "nearest", inline: "center" });
    address.write({ finding: detail.item?.id || null }, { step: Boolean(detail.item) });
  });
  showFinding(strip.items.find((one) => one.id === strip.selected) || null);
  box.removeAttribute("aria-busy");
  hear(`${api}/events`, () => refresh(), Number(desk.dataset.changes));
  for (const kind of Object.keys(pathOf)) {
    const unsent = drafts.read(`${key}.unsent.${kind}`);
    if (unsent) tell("A step of yours did not reach the workbench last time.", { kind: "caution", lasting: true, act: { words: "Send it now", run: mayFail(() => makeStep(kind, unsent)) } });
  }
  if (begun.guide) guide(begun.guide);
} catch (error) {
  box.removeAttribute("aria-busy");
  tellProblem(error);
}
