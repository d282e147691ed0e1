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
  "mother-suspected": "Mother's rate suspected", tachysystole: "Over 5 contractions in 10", "class-worsened": "Class is worse",
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

const SAME_EPISODE_S = 60;

/** Prompts of one episode together, the latest first: one fall told at 2, 3 and 5 minutes is one thing to look at. */
export function episodes(notices) {
  const found = [];
  for (const one of [...notices].sort((a, b) => b.at_s - a.at_s)) {
    const same = found.find((group) => group[0].kind === one.kind && Math.abs(group[0].from_s - one.from_s) <= SAME_EPISODE_S && !group[0].acknowledged_at === !one.acknowledged_at);
    if (same) same.push(one);
    else found.push([one]);
  }
  return found;
}

/** Whether what a prompt told of goes on; null where the state does not say. */
export function goesOn(state, one) {
  if (old(state) || !state.fetuses.length) return null;
  if (one.kind === "prolonged-fall") return state.fetuses.some((fetus) => fetus.fall && Math.abs(fetus.fall.from_s - one.from_s) <= SAME_EPISODE_S);
  if (one.kind === "signal-lost") return state.fetuses.some((fetus) => fetus.signal_age_s === null || fetus.signal_age_s > FRESH_S);
  return null;
}

/** How a bed is called: a bare number is a number of a bed. */
export const bedName = (bed) => (/^\d/.test(bed) ? `Bed ${bed}` : bed);

/** The review that comes next, in words; the one longest overdue where one is. */
export function nextReview(reviews, now) {
  const [first, second] = [...reviews].sort((a, b) => Date.parse(a.due_at) - Date.parse(b.due_at));
  if (!first) return "";
  const title = `${first.title.charAt(0).toLowerCase()}${first.title.slice(1)}`;
  const overdue = reviews.filter((one) => Date.parse(one.due_at) < now).length;
  if (overdue) return `review overdue for ${inMinutes(now - Date.parse(first.due_at))}: ${title}${overdue > 1 ? ` and ${overdue - 1} more` : ""}`;
  return `next review in ${inMinutes(Date.parse(first.due_at) - now)}: ${title}${second && second.due_at === first.due_at ? " and more" : ""}`;
}

export function inMinutes(ms) {
  const minutes = Math.max(0, Math.round(ms / 60000));
  return minutes < 90 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

/** What is said of a bed of which nothing was read yet. trace: how far its trace has come, if known better. */
export function nothingYet(state, trace = 0) {
  if (Math.max(trace, state.trace_s) > 0) return "What has come is being read.";
  const waited = Date.now() - Date.parse(state.started_at);
  return `Nothing has come from this bed's sensors${waited >= 60000 ? ` for ${inMinutes(waited)}` : " yet"}.`;
}

const BEHIND_S = 60;

/** Why a state must not be taken for the present: "" where it may. trace: how far the trace has come, if known better. */
export function old(state, trace = 0) {
  if (state.at_s === null) return "";
  const passed = state.by_trace ? Math.max(trace, state.trace_s) : (Date.now() - Date.parse(state.started_at)) / 1000;
  const behind = passed - state.at_s;
  const silent = (Date.now() - Date.parse(state.told_at)) / 1000;
  if (state.by_trace && behind < BEHIND_S && silent >= BEHIND_S) {
    return `Nothing has come for ${inMinutes(1000 * silent)}: the replay is over or has stopped.`;
  }
  if (behind < BEHIND_S) return "";
  const minutes = Math.max(1, Math.round(behind / 60));
  return state.by_trace ? `The reading is ${minutes} min behind the trace.` : `Not read for ${minutes} min: this is not how it is now.`;
}
