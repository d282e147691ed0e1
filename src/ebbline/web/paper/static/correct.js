// A strip on paper: what was read lies over the picture; a person corrects it and reads on.
import { get, send, tell, tellProblem } from "../api.js";
import { paths, Plate } from "./picture.js";

const SURE = 0.5;
const EMPTY = 0.05;
const CORNERS = ["Upper left", "Upper right", "Lower right", "Lower left"];
const HOW = {
  look: "Drag or scroll to move. Compare the coloured lines with the ink: H hides them.",
  corners: "Drag the four corners onto the corners of the heart-rate grid, or move one with the arrow keys (with Shift by ten).",
  erase: "Draw over handwriting, stamps or print that was read as a trace. By keyboard: arrow keys move the cross, Space sets it down and lifts it.",
  draw: "Draw along the trace where it was missed, or read wrongly. By keyboard: arrow keys move the cross, Space sets it down and lifts it.",
};
const KEYS = { l: "look", c: "corners", e: "erase", d: "draw" };
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

const $ = (id) => document.getElementById(id);
const key = $("paper").dataset.key;
const api = `/api/papers/${key}`;
const view = $("view");
const plate = new Plate(view, $("plate"), $("image"), $("over"));
const scaleForm = $("scale");

let paper;
let reading;
let said;
let answers;
let shown = 0;
let tool = "look";
let before = [];
let changed = false;
let stroke;
let cursor;

// -- words ------------------------------------------------------------------------------------------
function say(words, kind = "", busy = false) {
  const state = $("state");
  state.textContent = words;
  state.className = `note paper-state ${kind ? `${kind}-note` : ""} ${busy ? "busy" : ""}`;
}

function tellState() {
  $("take").disabled = changed || !reading || Boolean(reading.problem);
  $("undo").disabled = !before.length;
  if (changed) return say("Corrected since it was read. Read again to see what it comes to.", "caution");
  if (!reading) return;
  if (reading.problem) return say(`Not read: ${reading.problem} ${reading.remedy}`, "problem");
  // What was not read stands first.
  const lacking = [...reading.left_out, ...reading.doubts];
  say([...lacking, reading.extent, "Compare the lines with the ink, correct, then take it."].join(" "), lacking.length ? "caution" : "done");
}

function tellRead() {
  const one = reading?.pictures[shown];
  $("sure").replaceChildren(
    ...(one?.minutes || []).map((sure, n) => {
      const bar = document.createElement("li");
      const percent = Math.round(sure * 100);
      bar.className = sure < EMPTY ? "none" : sure < SURE ? "doubt" : "";
      bar.title = `Minute ${n + 1}: ${sure < EMPTY ? "no trace" : `${percent} %`}`;
      const filled = bar.appendChild(document.createElement("span"));
      filled.style.height = `${percent}%`;
      bar.append(Object.assign(document.createElement("b"), { className: "unseen", textContent: bar.title }));
      return bar;
    }),
  );
  const words = one ? (one.problem ? [`${one.problem} ${one.remedy}`] : one.said) : [];
  $("said").replaceChildren(...words.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
}

// -- drawing ----------------------------------------------------------------------------------------
const corners = () => said[shown].corners || reading?.pictures[shown]?.corners || standing();

function standing() {
  const { width, height } = plate.size;
  const [left, right, top, bottom] = [0.08 * width, 0.92 * width, 0.12 * height, 0.6 * height];
  return [[left, top], [right, top], [right, bottom], [left, bottom]].map((place) => plate.inside(place));
}

function drawRead() {
  plate.clear("read");
  for (const line of reading?.pictures[shown]?.lines || []) {
    const found = paths(line, SURE);
    plate.add("read", "path", { d: found.sure, class: line.fetus ? "heart" : "activity" });
    plate.add("read", "path", { d: found.unsure, class: "unsure" });
  }
}

function drawSaid() {
  plate.clear("said");
  for (const one of said[shown].erased) {
    plate.stroke("said", one.places, { class: "erased", "stroke-width": one.width });
    plate.stroke("said", one.places, { class: "erased-rim" });
  }
  for (const one of said[shown].drawn) plate.stroke("said", one.places, { class: "drawn" });
  plate.clear("tool");
  plate.plate.querySelectorAll(".corner").forEach((one) => (one.hidden = tool !== "corners"));
  if (tool === "corners") {
    plate.add("tool", "polygon", { points: corners().map((place) => place.join(",")).join(" "), class: "frame" });
    corners().forEach((place, n) => putHandle(n, place));
  }
  if (stroke) plate.stroke("tool", stroke.places, tool === "erase" ? { class: "erased", "stroke-width": stroke.width } : { class: "drawn" });
  if (cursor && (tool === "erase" || tool === "draw")) {
    const [x, y] = cursor;
    const arm = 12 / plate.scale;
    plate.add("tool", "path", { d: `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}`, class: "cursor" });
  }
}

const handles = CORNERS.map((name, n) => {
  const handle = Object.assign(document.createElement("button"), { type: "button", className: "corner", hidden: true });
  handle.dataset.name = name;
  $("plate").append(handle);
  const move = (place) => {
    said[shown].corners = corners().map((one, m) => (m === n ? plate.inside(place) : one));
    touched();
  };
  handle.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    event.stopPropagation();
    handle.focus();
    remember();
    handle.setPointerCapture(event.pointerId);
    const [x, y] = corners()[n];
    const [a, b] = plate.place(event);
    const moved = (one) => {
      const [c, d] = plate.place(one);
      move([x + c - a, y + d - b]);
    };
    const done = () => {
      handle.removeEventListener("pointermove", moved);
      handle.removeEventListener("pointerup", done);
      handle.removeEventListener("pointercancel", done);
    };
    handle.addEventListener("pointermove", moved);
    handle.addEventListener("pointerup", done);
    handle.addEventListener("pointercancel", done);
  });
  handle.addEventListener("keydown", (event) => {
    const way = ARROWS[event.key];
    if (!way) return;
    event.preventDefault();
    event.stopPropagation();
    if (!event.repeat) remember();
    const far = event.shiftKey ? 10 : 1;
    const [x, y] = corners()[n];
    move([x + way[0] * far, y + way[1] * far]);
    plate.follow(corners()[n]);
  });
  handle.addEventListener("focus", () => plate.size && plate.follow(corners()[n]));
  return handle;
});

function putHandle(n, [x, y]) {
  handles[n].style.left = `${x * plate.scale}px`;
  handles[n].style.top = `${y * plate.scale}px`;
  handles[n].setAttribute("aria-label", `${handles[n].dataset.name} corner, ${Math.round(x)} across, ${Math.round(y)} down`);
}

plate.onscale = () => said && drawSaid();

// -- corrections ------------------------------------------------------------------------------------
function remember() {
  before.push(JSON.stringify(said));
  if (before.length > 100) before.shift();
}

function touched() {
  changed = true;
  drawSaid();
  tellState();
}

function undo() {
  if (!before.length) return;
  said = JSON.parse(before.pop());
  stroke = undefined;
  touched();
}

function begin(place) {
  const width = Math.round(Number($("size").value) / plate.scale);
  stroke = tool === "erase" ? { places: [place], width } : { places: [place], fetus: Number($("trace").value) };
  drawSaid();
}

function onTo(place, least = 2) {
  const [x, y] = stroke.places.at(-1);
  if (Math.hypot(place[0] - x, place[1] - y) * plate.scale >= least) stroke.places.push(place);
  drawSaid();
}

function end() {
  if (!stroke) return;
  remember();
  said[shown][tool === "erase" ? "erased" : "drawn"].push(stroke);
  stroke = undefined;
  touched();
}

function choose(wanted) {
  if (stroke) end();
  tool = wanted;
  view.dataset.tool = tool;
  document.querySelectorAll("[data-tool][aria-pressed]").forEach((one) => one.setAttribute("aria-pressed", String(one.dataset.tool === tool)));
  $("size-field").hidden = tool !== "erase";
  $("trace-field").hidden = tool !== "draw";
  $("how").textContent = HOW[tool];
  if (said) drawSaid();
}

document.querySelectorAll("button[data-tool]").forEach((one) => one.addEventListener("click", () => choose(one.dataset.tool)));
$("undo").addEventListener("click", undo);
$("larger").addEventListener("click", () => plate.zoom(true));
$("smaller").addEventListener("click", () => plate.zoom(false));
$("whole").addEventListener("click", () => plate.fit());
$("overlay").addEventListener("click", () => {
  const hidden = $("paper").classList.toggle("nothing-read");
  $("overlay").setAttribute("aria-pressed", String(!hidden));
});

$("plate").addEventListener("pointerdown", (event) => {
  if (!said || event.button || event.target.closest(".corner")) return;
  if (tool === "look") return event.pointerType === "mouse" ? pan(event) : undefined;
  if (tool === "corners" || stroke) return;
  event.preventDefault();
  view.focus({ preventScroll: true });
  cursor = undefined;
  $("plate").setPointerCapture(event.pointerId);
  begin(plate.place(event));
});
$("plate").addEventListener("pointermove", (event) => {
  if (!stroke || !$("plate").hasPointerCapture(event.pointerId)) return;
  for (const one of event.getCoalescedEvents?.() || [event]) onTo(plate.place(one));
});
$("plate").addEventListener("pointerup", (event) => $("plate").hasPointerCapture(event.pointerId) && end());
$("plate").addEventListener("pointercancel", () => {
  stroke = undefined;
  if (said) drawSaid();
});

function pan(event) {
  event.preventDefault();
  view.focus({ preventScroll: true });
  view.classList.add("held");
  const from = [event.clientX + view.scrollLeft, event.clientY + view.scrollTop];
  const moved = (one) => view.scrollTo(from[0] - one.clientX, from[1] - one.clientY);
  const done = () => {
    view.classList.remove("held");
    removeEventListener("pointermove", moved);
    removeEventListener("pointerup", done);
  };
  addEventListener("pointermove", moved);
  addEventListener("pointerup", done);
}

view.addEventListener("keydown", (event) => {
  if (event.target !== view || !said || (tool !== "erase" && tool !== "draw")) return;
  const way = ARROWS[event.key];
  const middle = () => plate.inside([(view.scrollLeft + view.clientWidth / 2) / plate.scale, (view.scrollTop + view.clientHeight / 2) / plate.scale]);
  if (way) {
    event.preventDefault();
    const far = (event.shiftKey ? 20 : 4) / plate.scale;
    const [x, y] = cursor || middle();
    cursor = plate.inside([x + way[0] * far, y + way[1] * far]);
    if (stroke) onTo(cursor, 0);
    plate.follow(cursor);
    drawSaid();
  } else if (event.key === " " || event.key === "Enter") {
    event.preventDefault();
    cursor ??= middle();
    if (stroke) end();
    else begin(cursor);
  } else if (event.key === "Escape") {
    stroke = undefined;
    drawSaid();
  }
});

addEventListener("keydown", (event) => {
  if (event.target.closest("input, select, textarea, dialog")) return;
  if ((event.ctrlKey || event.metaKey) && event.key === "z") {
    event.preventDefault();
    undo();
  } else if (!event.ctrlKey && !event.metaKey && !event.altKey) {
    if (KEYS[event.key]) choose(KEYS[event.key]);
    if (event.key === "h") $("overlay").click();
  }
});

// -- scale ------------------------------------------------------------------------------------------
function fillScale() {
  for (const [name, value] of Object.entries(answers)) scaleForm.elements[name].value = value ?? "";
}

function scaleSaid() {
  const found = {};
  for (const name of Object.keys(answers)) {
    const text = scaleForm.elements[name].value.trim().replace(",", ".");
    const value = text ? Number(text) : null;
    if (Number.isNaN(value)) {
      scaleForm.elements[name].focus();
      throw new Error(`“${text}” is not a number. Write it in figures, or leave it empty.`);
    }
    found[name] = value;
  }
  return found;
}

scaleForm.addEventListener("input", () => {
  changed = true;
  tellState();
});
scaleForm.addEventListener("submit", (event) => {
  event.preventDefault();
  again();
});

// -- reading ----------------------------------------------------------------------------------------
async function load() {
  paper = await get(api);
  said = paper.said;
  answers = paper.answers;
  before = [];
  changed = false;
  fillScale();
}

async function showPicture(number) {
  shown = number;
  cursor = undefined;
  document.querySelectorAll("[data-picture]").forEach((one) => one.setAttribute("aria-pressed", String(Number(one.dataset.picture) === shown)));
  plate.clear("read");
  await plate.show(paper.pictures[shown]);
  drawRead();
  drawSaid();
  tellRead();
}

async function read() {
  say("Reading the picture, some seconds…", "", true);
  try {
    reading = await get(`${api}/reading`);
  } catch (error) {
    say(error.message, "problem");
    return;
  }
  drawRead();
  drawSaid();
  tellRead();
  tellState();
}

async function again() {
  if (stroke) end();
  $("again").disabled = true;
  try {
    const asked = { version: paper.version, answers: scaleSaid(), pictures: said };
    if (changed) paper = await send("PUT", api, asked);
    answers = paper.answers;
    changed = false;
    before = [];
    await read();
  } catch (error) {
    tellProblem(error);
  } finally {
    $("again").disabled = false;
  }
}

$("again").addEventListener("click", again);
$("take").addEventListener("click", async () => {
  $("take").disabled = true;
  try {
    const card = await send("POST", `${api}/recording`, { version: paper.version });
    location.assign(card.href);
  } catch (error) {
    tellProblem(error);
    tellState();
  }
});
$("remove").addEventListener("click", async () => {
  const button = $("remove");
  if (!button.dataset.sure) {
    button.dataset.sure = "yes";
    button.classList.remove("quiet");
    button.textContent = "Really remove pictures and corrections?";
    return;
  }
  try {
    await send("DELETE", api);
    changed = false;
    location.assign("/");
  } catch (error) {
    tellProblem(error);
  }
});
$("pictures").addEventListener("click", (event) => {
  const button = event.target.closest("[data-picture]");
  if (button) showPicture(Number(button.dataset.picture)).catch(tellProblem);
});
addEventListener("beforeunload", (event) => {
  if (changed) event.preventDefault();
});

choose("look");
try {
  await load();
  await Promise.all([showPicture(0), read()]);
} catch (error) {
  say(error.message, "problem");
  tell(error.message, { kind: "problem" });
}
