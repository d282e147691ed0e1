// The handover: filled by the record, edited by the person, kept here until it is given.
import { send, tell, tellProblem } from "/static/api.js";
import { keep, kept, token } from "./outbox.js";
import "./danger.js";

const root = document.getElementById("handover");
const form = document.getElementById("give");
const caseNumber = root.dataset.case;
const key = `ebbline-record-handover-${caseNumber}`;
const texts = [...form.querySelectorAll("textarea")];
let mark = token();

const draft = kept(key);
if (draft) {
  for (const area of texts) if (draft.texts[area.name] !== undefined) area.value = draft.texts[area.name];
  form.elements.to.value = draft.to || "";
  if (draft.number !== Number(root.dataset.number)) {
    const note = document.getElementById("older");
    note.hidden = false;
    note.querySelector("span").textContent = draft.number;
  }
}
form.addEventListener("input", () => {
  keep(key, {
    number: draft?.number ?? Number(root.dataset.number),
    to: form.elements.to.value,
    texts: Object.fromEntries(texts.map((area) => [area.name, area.value])),
  });
});
document.getElementById("refill").addEventListener("click", () => {
  keep(key, null);
  location.reload();
});

function problem(words) {
  const note = form.querySelector(".problem-note");
  note.hidden = !words;
  note.textContent = words;
}

document.getElementById("give-now").addEventListener("click", async (event) => {
  const button = event.currentTarget;
  if (button.disabled) return;
  problem("");
  if (!form.elements.to.value.trim()) {
    problem("Say to whom it is given.");
    form.elements.to.focus();
    return;
  }
  button.disabled = true;
  try {
    const said = Object.fromEntries(texts.map((area) => [area.name, area.value]));
    const found = await send("POST", `/api/record/cases/${caseNumber}/handover`, { ...said, to: form.elements.to.value, token: mark });
    mark = token();
    keep(key, null);
    const note = document.getElementById("given");
    note.hidden = false;
    note.textContent = `Given to ${found.fields.to}; written as no. ${found.number}. `;
    const link = document.createElement("a");
    link.href = `/record/${caseNumber}/handover/${found.number}.pdf`;
    link.textContent = "On paper";
    note.append(link);
  } catch (error) {
    problem(error.message);
    button.disabled = false;
  }
});

document.getElementById("copy").addEventListener("click", async () => {
  const bed = document.querySelector(".case-head h1").textContent.trim().replace(/\s+/g, " ");
  const words = [bed, ...texts.map((area) => `${area.closest("label").querySelector("span").textContent}\n${area.value}`)].join("\n\n");
  try {
    await navigator.clipboard.writeText(words);
    tell("Copied.");
  } catch {
    tellProblem(new Error("The browser did not let it be copied; print it, or mark the text by hand."));
  }
});
