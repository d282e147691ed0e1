// The page of one case: entry sheets with drafts, an outbox, what is due.
import { get, piece, tell, tellProblem } from "/static/api.js";
import { iso, keep, kept, showOutbox, steppers, write } from "./outbox.js";

const root = document.getElementById("case");
const caseNumber = root.dataset.case;
const draftKey = (kind) => `ebbline-record-draft-${caseNumber}-${kind}`;

function show(html, fresh) {
  const box = document.createElement("template");
  box.innerHTML = html;
  document.getElementById("top").replaceChildren(...box.content.querySelector('[data-part="top"]').childNodes);
  document.getElementById("timeline").replaceChildren(...box.content.querySelector('[data-part="timeline"]').childNodes);
  if (fresh) document.getElementById(`entry-${fresh}`)?.classList.add("fresh");
}
show(document.getElementById("fresh").innerHTML);

async function refresh(fresh) {
  try {
    show(await piece(`/record/${caseNumber}/now`), fresh);
  } catch (error) {
    tellProblem(error);
  }
}
setInterval(() => {
  if (!document.querySelector("dialog[open]") && !document.hidden) refresh();
}, 30000);
showOutbox(document.getElementById("outbox"), (found) => refresh(found.number));

// ---------------------------------------------------------------- sheets

const sheets = new Map([...document.querySelectorAll("form[data-kind]")].map((form) => [form.dataset.kind, form]));
const correcting = new WeakMap();

function values(form) {
  const found = {};
  for (const [name, value] of new FormData(form)) {
    if (String(value).trim() === "") continue;
    const input = form.elements[name];
    if (form.querySelector(`[type="checkbox"][name="${name}"]`)) {
      (found[name] ||= []).push(value);
      continue;
    }
    found[name] = input.dataset && "time" in input.dataset ? iso(new Date(String(value))) : value;
  }
  return found;
}

function fill(form, said) {
  for (const [name, value] of Object.entries(said)) {
    const input = form.elements[name];
    if (!input) continue;
    if (input instanceof RadioNodeList) {
      for (const one of input) one.checked = Array.isArray(value) ? value.includes(one.value) : one.value === spoken(value);
    } else if (input.type === "radio") input.checked = input.value === spoken(value);
    else if (input.dataset && "time" in input.dataset) input.value = String(value).slice(0, 16);
    else input.value = Array.isArray(value) ? value.join(", ") : value;
  }
}
const spoken = (value) => (value === true ? "yes" : value === false ? "no" : String(value));

function drafted() {
  for (const button of document.querySelectorAll(".key")) {
    button.querySelector(".draft-mark")?.toggleAttribute("hidden", !kept(draftKey(button.dataset.open)));
  }
}

function open(kind, said = {}, corrects = null) {
  const form = sheets.get(kind);
  if (!form) return;
  form.reset();
  setAgo(form, 0);
  problem(form, "");
  const note = form.querySelector(".correcting");
  note.hidden = corrects === null;
  correcting.set(form, corrects);
  form.querySelector("[data-error]")?.toggleAttribute("hidden", corrects === null);
  if (corrects === null) fill(form, kept(draftKey(kind)) || {});
  else note.textContent = `This takes the place of entry ${corrects}, which stays in the record.`;
  fill(form, said);
  second(form);
  const dialog = form.closest("dialog");
  if (!dialog.open) dialog.showModal();
}

function problem(form, words) {
  const note = form.querySelector(".problem-note");
  note.hidden = !words;
  note.textContent = words;
  if (words) note.scrollIntoView({ block: "nearest" });
}

function setAgo(form, minutes) {
  form.dataset.ago = minutes;
  for (const button of form.querySelectorAll("[data-ago]")) button.setAttribute("aria-pressed", String(Number(button.dataset.ago) === minutes));
  form.querySelector("[data-at]").value = "";
}

function moment(form) {
  const said = form.querySelector("[data-at]").value;
  if (form.dataset.exact) return form.dataset.exact;
  const now = new Date();
  if (!said) return iso(new Date(now.getTime() - 60000 * Number(form.dataset.ago || 0)));
  const [hours, minutes] = said.split(":").map(Number);
  const at = new Date(now);
  at.setHours(hours, minutes, 0, 0);
  // A time that lies ahead was yesterday's.
  if (at.getTime() - now.getTime() > 120000) at.setDate(at.getDate() - 1);
  return iso(at);
}

function second(form) {
  const chosen = form.querySelector('[name="review"]:checked');
  if (chosen) form.querySelector(".second").classList.toggle("asked", chosen.dataset.second === "yes");
}

for (const [kind, form] of sheets) {
  steppers(form);
  form.addEventListener("input", (event) => {
    if (event.target.matches("[data-at]")) {
      form.dataset.exact = "";
      for (const button of form.querySelectorAll("[data-ago]")) button.setAttribute("aria-pressed", "false");
    }
    if (correcting.get(form) === null) {
      const said = values(form);
      if (kind === "review") delete said.review;
      keep(draftKey(kind), Object.keys(said).length ? said : null);
    }
    second(form);
    drafted();
  });
  // A chip that is touched again is taken back.
  form.addEventListener("pointerdown", (event) => {
    const input = event.target.closest(".chip")?.querySelector("input");
    if (input?.checked && input.type === "radio" && input.name !== "review") {
      event.target.addEventListener("click", (click) => {
        click.preventDefault();
        input.checked = false;
        form.dispatchEvent(new Event("input", { bubbles: true }));
      }, { once: true });
    }
  });
  form.addEventListener("click", (event) => {
    const ago = event.target.closest("[data-ago]");
    if (ago && ago !== form) {
      form.dataset.exact = "";
      setAgo(form, Number(ago.dataset.ago));
    }
    if (event.target.closest("[data-close]")) form.closest("dialog").close();
    if (event.target.closest("[data-empty]")) {
      form.reset();
      keep(draftKey(kind), null);
      drafted();
    }
    if (event.target.closest("[data-error]")) {
      const number = correcting.get(form);
      form.closest("dialog").close();
      open("withdrawn", {}, number);
    }
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    save(kind, form);
  });
}

async function save(kind, form) {
  const button = form.querySelector("[data-save]");
  if (button.disabled) return;
  const fields = values(form);
  if (kind === "review") {
    fields.lines = [...form.querySelectorAll("[data-line]")].map((one) => one.dataset.line);
    const chosen = form.querySelector('[name="review"]:checked');
    if (!fields.agrees && !fields.own_class) return problem(form, "Say whether you agree, or give your own class.");
    if (fields.agrees === "no" && !fields.why && !fields.own_class) return problem(form, "Say how you read it, or why.");
    if (chosen?.dataset.second === "yes" && !fields.second_reader) return problem(form, "This review asks for a second reader: who read with you?");
  }
  button.disabled = true;
  try {
    const found = await write(caseNumber, { kind, fields, at: moment(form), corrects: correcting.get(form) });
    if (correcting.get(form) === null) keep(draftKey(kind), null);
    form.dataset.exact = "";
    form.reset();
    form.closest("dialog").close();
    drafted();
    if (found) {
      tell(`Written as no. ${found.number}: ${found.title}, ${found.words}`);
      await refresh(found.number);
    } else tell("The server does not answer. The entry waits on this tablet and is sent again by itself.", { kind: "caution" });
  } catch (error) {
    problem(form, error.message);
  } finally {
    button.disabled = false;
  }
}

document.addEventListener("click", async (event) => {
  const opener = event.target.closest("[data-open]");
  if (opener) return open(opener.dataset.open, opener.dataset.set ? JSON.parse(opener.dataset.set) : {});
  const corrector = event.target.closest("[data-correct]");
  if (corrector) {
    try {
      const number = Number(corrector.dataset.correct);
      const [entry] = await get(`/api/record/cases/${caseNumber}/entries?after=${number - 1}`);
      if (sheets.has(entry.kind)) {
        open(entry.kind, entry.fields, number);
        const form = sheets.get(entry.kind);
        form.dataset.exact = entry.at;
        const at = new Date(entry.at);
        form.querySelector("[data-at]").value = `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
        for (const button of form.querySelectorAll("[data-ago]")) button.setAttribute("aria-pressed", "false");
      } else open("withdrawn", {}, number);
    } catch (error) {
      tellProblem(error);
    }
  }
});

document.getElementById("verify").addEventListener("click", async () => {
  try {
    const found = await get(`/api/record/cases/${caseNumber}/verify`);
    document.getElementById("verified").textContent = found.holds
      ? `The chain holds: ${found.entries} entries, last ${found.head.slice(0, 16)}.`
      : `THE CHAIN IS BROKEN: ${found.breaks.join("; ")}`;
  } catch (error) {
    tellProblem(error);
  }
});
drafted();
if (location.hash.startsWith("#write-")) open(location.hash.slice(7));
