// The first-run guide: five steps on the invented case, ending on the evidence of the first reason.
import { write } from "./address.js";

const STEPS = [
  { at: "#strip", title: "This is the strip", words: "Heart rate above, contractions below, on the paper you know. Drag it sideways, or use the arrow keys. The small picture at the foot is the whole recording." },
  { at: '[data-act="next"]', title: "Go from finding to finding", words: "Press this arrow a few times. Each bracket is something that was found; its numbers are told at the side." },
  { at: '[data-tool="measure"]', title: "Measure it yourself", words: "Take the calipers and draw across a fall: seconds, beats and area appear under the strip. Press Escape to put them down." },
  { at: "#class-bar", title: "The classes, first of all", words: "What each standard makes of this half hour, as words and signs. What could not be seen is said too: it never counts as good news." },
  { at: ".reason[data-evidence]", title: "Why? Look at the evidence", words: "Every class has its reasons. Press this one: the stretches it rests on are shaded on the strip." },
];

export function guide(step) {
  document.getElementById("guide")?.remove();
  for (const one of document.querySelectorAll(".guided")) one.classList.remove("guided");
  const now = STEPS[step - 1];
  write({ guide: now ? step : null });
  if (!now) return;
  if (step === STEPS.length) {
    // the reasons may be folded away, with the rail or by another tab
    if (document.getElementById("desk").classList.contains("folded")) document.querySelector('[data-act="rail"]').click();
    document.getElementById("tab-reading")?.click();
  }
  const target = document.querySelector(now.at);
  const folded = target?.closest("details");
  if (folded) folded.open = true;
  target?.scrollIntoView({ block: "nearest" });
  target?.classList.add("guided");
  const card = document.createElement("section");
  card.id = "guide";
  card.className = "guide-card";
  card.setAttribute("aria-labelledby", "guide-title");
  const title = Object.assign(document.createElement("h2"), { id: "guide-title", textContent: now.title, tabIndex: -1 });
  const count = Object.assign(document.createElement("p"), { className: "soft", textContent: `Step ${step} of ${STEPS.length}` });
  const words = Object.assign(document.createElement("p"), { textContent: now.words });
  const row = Object.assign(document.createElement("div"), { className: "row" });
  const button = (text, run, main) => {
    const one = Object.assign(document.createElement("button"), { textContent: text, className: main ? "main-action" : "quiet" });
    one.addEventListener("click", run);
    row.append(one);
  };
  button("Leave the guide", () => guide(0));
  if (step > 1) button("Back", () => guide(step - 1));
  if (step < STEPS.length) button("Next", () => guide(step + 1), true);
  else button("Show the evidence", () => {
    document.querySelector(now.at)?.click();
    guide(0);
  }, true);
  card.append(count, title, words, row);
  document.body.append(card);
  title.focus({ preventScroll: true });
}
