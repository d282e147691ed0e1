// What both live pages say alike: signs by level, times, words of notices.
const SVG = "http://www.w3.org/2000/svg";
const SIGNS = {
  reassuring: ["reassuring", [["circle", { cx: 10, cy: 10, r: 7.5 }], ["path", { d: "M6.5 10.5l2.5 2.5 4.5-5.5" }]]],
  caution: ["caution", [["path", { d: "M10 2.5L18.5 17h-17z" }], ["path", { d: "M10 8v4.2M10 14.6v.2" }]]],
  alarming: ["alarming", [["path", { class: "solid", d: "M6.5 1.5h7l5 5v7l-5 5h-7l-5-5v-7z" }], ["path", { class: "on-solid", d: "M10 5.5v5.5M10 14v.3" }]]],
  "not assessed": ["unassessed", [["circle", { class: "dashed", cx: 10, cy: 10, r: 7.5 }], ["path", { d: "M8 8c0-3 4-2.8 4-.4 0 1.7-2 1.7-2 3.4M10 13.7v.2" }]]],
};
export const GRAVITY = ["reassuring", "not assessed", "caution", "alarming"];
export const URGENCY = ["look", "soon", "now"];
export const LEVEL_OF = { look: "not assessed", soon: "caution", now: "alarming" };
export const TITLES = {
  "prolonged-fall": "Prolonged fall", bradycardia: "Low baseline", "signal-lost": "No heart rate",
  "mother-suspected": "Mother's rate?", tachysystole: "Over 5 contractions in 10", "class-worsened": "Class is worse",
  "review-overdue": "Review overdue",
};

export function sign(level) {
  const [name, parts] = SIGNS[level] || SIGNS["not assessed"];
  const made = document.createElementNS(SVG, "svg");
  made.setAttribute("class", `sign sign-${name}`);
  made.setAttribute("viewBox", "0 0 20 20");
  made.setAttribute("aria-hidden", "true");
  for (const [tag, given] of parts) {
    const part = document.createElementNS(SVG, tag);
    for (const [key, value] of Object.entries(given)) part.setAttribute(key, value);
    made.append(part);
  }
  return made;
}

export function element(tag, given = {}, ...children) {
  const made = document.createElement(tag);
  for (const [key, value] of Object.entries(given)) {
    if (value === undefined || value === null || value === false) continue;
    made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.filter((one) => one !== null && one !== undefined));
  return made;
}

/** Time of day of a moment of the labour, in this browser's zone. */
export function clockOf(startIso, seconds, withSeconds = false) {
  const at = new Date(Date.parse(startIso) + seconds * 1000);
  return at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: withSeconds ? "2-digit" : undefined, hourCycle: "h23" });
}

/** How old a rate may be and still stand as the rate now. */
export const FRESH_S = 15;

/** Whatever the workbench tells, as it comes; told(false) while there is no connection. */
export function listen(path, onState, connected) {
  const source = new EventSource(path);
  let last = Date.now();
  const heard = () => {
    last = Date.now();
    connected(true);
  };
  source.addEventListener("state", (event) => {
    heard();
    onState(JSON.parse(event.data));
  });
  source.addEventListener("ended", (event) => {
    heard();
    onState({ ...JSON.parse(event.data), ended: true });
  });
  source.addEventListener("alive", heard);
  source.addEventListener("open", heard);
  source.addEventListener("error", () => connected(false));
  setInterval(() => {
    if (Date.now() - last > 40000) connected(false);
  }, 5000);
  return source;
}

const BEHIND_S = 60;

/** Why a state must not be taken for the present: "" where it may. trace: how far the trace has come, if known better. */
export function old(state, trace = 0) {
  if (state.at_s === null) return "";
  const passed = state.by_trace ? Math.max(trace, state.trace_s) : (Date.now() - Date.parse(state.started_at)) / 1000;
  const behind = passed - state.at_s;
  if (behind < BEHIND_S) return "";
  const minutes = Math.max(1, Math.round(behind / 60));
  return state.by_trace ? `The reading is ${minutes} min behind the trace.` : `Not read for ${minutes} min: this is not how it is now.`;
}
