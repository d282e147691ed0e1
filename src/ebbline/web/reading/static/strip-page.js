// The page of one recording: loads samples and findings into the strip, and joins it to its panel.
import { bytes, get, piece, send, tell, tellProblem } from "../api.js";
import { Strip } from "../strip/strip.js";
import { wireTools } from "../strip/tools.js";

const KINDS = { "fetal heart rate": "heart", "uterine activity": "uterine", "maternal heart rate": "maternal" };
const DECELERATIONS = ["early", "late", "variable", "prolonged"];
const GROUPS = { acceleration: "acceleration", contraction: "contraction" };

const desk = document.getElementById("desk");
const key = desk.dataset.key;
const api = `/api/recordings/${key}`;
const panel = document.getElementById("panel");
const box = document.getElementById("strip");
let fetus = Number(desk.dataset.fetuses.split(",")[0]) || 1;
let window_ = null;
let tab = "tab-reading";

export async function loadRecording(path) {
  const recording = await get(path);
  const traces = await Promise.all(recording.channels.map(async (channel) => ({
    ...channel,
    kind: KINDS[channel.kind],
    samples: new Float32Array(await bytes(channel.samples_href)),
  })));
  return { ...recording, traces };
}

// -- drawing -----------------------------------------------------------------------------------

function draw(found) {
  strip.setItems(found.items);
  strip.setBaseline(found.baseline);
  strip.setColumns(found.columns);
}

async function refresh() {
  try {
    draw(await get(`${api}/findings?fetus=${fetus}&blind=${strip.blind}`));
    await showPanel();
  } catch (error) {
    tellProblem(error);
  }
}

let asked;
function fetchPanel(blind) {
  asked?.abort();
  asked = new AbortController();
  const query = new URLSearchParams({ fetus, blind });
  if (window_) {
    query.set("from_s", window_.start_s);
    query.set("to_s", window_.end_s);
  }
  return piece(`/recordings/${key}/panel?${query}`, { signal: asked.signal });
}

async function showPanel(fetched = fetchPanel(strip.blind)) {
  const text = await fetched;
  const place = panel.scrollTop;
  panel.innerHTML = text;
  panel.scrollTop = place;
  if (!strip.blind) {
    showTab(tab);
    const [start, end] = panel.querySelector("[data-window]").dataset.window.split(",").map(Number);
    strip.setWindow([start, end]);
  } else strip.setWindow(null);
}

function showTab(id) {
  tab = id;
  for (const one of panel.querySelectorAll('[role="tab"]')) {
    const chosen = one.id === id;
    one.setAttribute("aria-selected", String(chosen));
    one.tabIndex = chosen ? 0 : -1;
    document.getElementById(one.getAttribute("aria-controls")).hidden = !chosen;
  }
}

function showOnStrip(windows) {
  box.scrollIntoView({ block: "nearest", behavior: "smooth" });
  strip.showEvidence(windows);
}

// -- what the panel's buttons do -----------------------------------------------------------------

async function changed(promise, words) {
  try {
    draw(await promise);
    await showPanel();
    if (words) tell(words);
  } catch (error) {
    tellProblem(error);
  }
}

panel.addEventListener("click", (event) => {
  const one = event.target.closest("button");
  if (!one) return;
  const data = one.dataset;
  if (one.role === "tab" || one.getAttribute("role") === "tab") showTab(one.id);
  else if (data.evidence !== undefined) {
    showOnStrip(data.evidence.trim().split(" ").map((pair) => {
      const [start, end] = pair.split(",").map(Number);
      return { start_s: start, end_s: end };
    }));
  } else if (data.show) {
    const [start, end] = data.show.split(",").map(Number);
    showOnStrip([{ start_s: start, end_s: end }]);
  } else if (data.unmark) changed(send("POST", `${api}/marks/${data.unmark}/withdraw`, { fetus, blind: strip.blind }));
  else if (data.uncorrect) changed(send("POST", `${api}/corrections/${data.uncorrect}/withdraw`, { fetus }), "Taken back. It stays on record.");
  else if (data.reveal !== undefined) tools.blind(false);
  else if (data.whose) {
    for (const b of panel.querySelectorAll("[data-whose]")) b.setAttribute("aria-pressed", String(b === one));
    for (const part of panel.querySelectorAll("[data-reading]")) part.hidden = part.dataset.reading !== data.whose;
  } else if (data.windowChoice) chooseWindow(data.windowChoice);
});

panel.addEventListener("keydown", (event) => {
  const list = [...panel.querySelectorAll('[role="tab"]')];
  const here = list.indexOf(event.target);
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (here < 0 || !step) return;
  const next = list[(here + step + list.length) % list.length];
  showTab(next.id);
  next.focus();
  event.preventDefault();
});

function chooseWindow(choice) {
  if (choice === "last") window_ = null;
  else if (choice === "all") window_ = { start_s: 0, end_s: strip.duration };
  else {
    const { start_s: s, end_s: e } = strip.shown;
    window_ = { start_s: Math.round(Math.max(s, 0)), end_s: Math.round(Math.min(e, strip.duration)) };
  }
  showPanel().catch(tellProblem);
}

panel.addEventListener("change", (event) => {
  if (event.target.id !== "fetus") return;
  fetus = Number(event.target.value);
  strip.setFetus(fetus);
  refresh();
});

panel.addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.target;
  if (form.id === "note-form") {
    const { start_s: s, end_s: e } = strip.shown;
    keepMark({ kind: "note", start_s: Math.max(s, 0), end_s: Math.min(e, strip.duration), note: form.elements.note.value });
  } else if (form.id === "labour-form") keepLabour(form);
});

async function keepLabour(form) {
  const text = (name) => form.elements[name].value;
  const number = (name) => (text(name) === "" ? null : Number(text(name)));
  const known = (name) => ({ true: true, false: false })[text(name)] ?? null;
  const minutes = number("second_stage_min");
  try {
    await send("PUT", `${api}/context`, {
      weeks: number("weeks"), stage: text("stage"), second_stage_start_s: minutes === null ? null : minutes * 60,
      oxytocin: known("oxytocin"), epidural: known("epidural"), meconium: known("meconium"), fever: known("fever"), parity: number("parity"),
    });
    await refresh();
    tell("Kept, and read again.");
  } catch (error) {
    tellProblem(error);
  }
}

// -- marks and corrections on the strip ----------------------------------------------------------

function keepMark(mark) {
  changed(send("POST", `${api}/marks?blind=${strip.blind}`, { fetus, ...mark }));
}

function correct(change, words) {
  strip.hidePop();
  changed(send("POST", `${api}/corrections?fetus=${fetus}`, change), words);
}

const target = (item) => ({ target_start_s: item.start_s, target_end_s: item.end_s });
const groupOf = (item) => GROUPS[item.kind] || (DECELERATIONS.includes(item.kind) || item.kind.startsWith("gradual") ? "deceleration" : null);

function actionsFor(item, into) {
  const button = (words, act) => {
    const one = document.createElement("button");
    one.textContent = words;
    one.addEventListener("click", act);
    into.append(one);
    return one;
  };
  if (item.layer === "own") {
    button("Take back", () => {
      strip.hidePop();
      changed(send("POST", `${api}/marks/${item.id.replace("mark-", "")}/withdraw`, { fetus, blind: strip.blind }));
    });
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
    strip.hidePop();
    strip.setTool("span");
    tell("Draw from where it begins to where it ends. Escape leaves it as it is.");
  });
  if (item.layer === "corrected") button("Take back", () => correctionBack(item.id.replace("correction-", "")));
  else button("Take it out", () => correct({ action: "delete", group, ...target(item) }, "Taken out. The classes were made anew."));
}

function correctionBack(number) {
  strip.hidePop();
  changed(send("POST", `${api}/corrections/${number}/withdraw`, { fetus }), "Taken back. It stays on record.");
}

let moving = null;
function drawn(tool, kind, { start_s, end_s, level }) {
  if (moving) {
    const item = moving;
    moving = null;
    strip.setTool("travel");
    correct({ action: "move", group: groupOf(item), ...target(item), start_s, end_s }, "Moved. The classes were made anew.");
  } else if (tool === "mark") {
    if (kind === "note") {
      const words = panel.querySelector("#note-form textarea");
      showTab("tab-marks");
      words?.focus();
    } else keepMark({ kind, start_s, end_s, value: level === null ? null : Math.round(level) });
  } else if (tool === "correct") {
    const group = DECELERATIONS.includes(kind) ? "deceleration" : kind === "deceleration" ? "deceleration" : kind;
    correct({ action: "add", group, kind: DECELERATIONS.includes(kind) ? kind : null, start_s, end_s }, "Added. The classes were made anew.");
  }
}

// -- beginning -----------------------------------------------------------------------------------

// samples, findings and reading are asked for at the same time
const loading = { recording: loadRecording(api), found: get(`${api}/findings?fetus=${fetus}`), panel: fetchPanel(false) };
for (const one of Object.values(loading)) one.catch(() => {});
const strip = new Strip(box, { label: "Strip of this recording" });
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
  ];
  tools = wireTools(strip, document.getElementById("tools"), {
    hand: { mark: marks, correct: added },
    onSpan: drawn,
    onBlind: (blind) => {
      for (const one of document.querySelectorAll('[data-tool="correct"]')) one.disabled = blind;
      refresh();
    },
  });
  strip.addEventListener("actions", ({ detail }) => actionsFor(detail.item, detail.box));
  strip.addEventListener("tool", ({ detail }) => {
    if (detail.tool === "travel") moving = null;
  });
  draw(await loading.found);
  await showPanel(loading.panel);
  if (strip.window) strip.goto(strip.window[1] - strip.wide * strip.spp * 0.98, strip.spp, false);
  box.removeAttribute("aria-busy");
} catch (error) {
  box.removeAttribute("aria-busy");
  tellProblem(error);
}
