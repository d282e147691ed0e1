// The report's page: what is chosen goes into the links and the preview.
import { get, tellProblem } from "../api.js";

const form = document.getElementById("report-form");
const sheets = document.getElementById("sheets");
const { key } = form.dataset;
const MOST_SHEETS = 12;

function query() {
  const chosen = new URLSearchParams({ speed: form.elements.speed.value, identifier: form.elements.identifier.value });
  const which = form.elements.window.value;
  if (which === "all") {
    chosen.set("from_s", "0");
    chosen.set("to_s", form.dataset.duration);
  } else if (which === "own") {
    chosen.set("from_s", String(Number(form.elements.from_min.value) * 60));
    chosen.set("to_s", String(Number(form.elements.to_min.value) * 60));
  }
  if (form.elements.fetus) chosen.set("fetus", form.elements.fetus.value);
  for (const name of ["exam", "marks", "corrections"]) chosen.set(name, form.elements[name].checked);
  return chosen;
}

const say = (text, name = "p") => Object.assign(document.createElement(name), { textContent: text });

/** What is shown is always of what was chosen last: an older answer is thrown away. */
let running;
async function show() {
  const chosen = query();
  document.getElementById("pdf").href = `/api/recordings/${key}/report.pdf?${chosen}`;
  document.getElementById("fhir").href = `/api/recordings/${key}/fhir.json?${chosen}`;
  running?.abort();
  const mine = new AbortController();
  running = mine;
  const busy = say("Reading, and laying out the report…");
  busy.className = "report-busy";
  busy.setAttribute("role", "status");
  sheets.replaceChildren(busy);
  const since = Date.now();
  const ticking = setInterval(() => {
    busy.textContent = `Reading, and laying out the report… ${Math.round((Date.now() - since) / 1000)} s. A whole day takes longer than half an hour.`;
  }, 1000);
  try {
    const { pages, title } = await get(`/recordings/${key}/report/pages?${chosen}`, { signal: mine.signal });
    if (mine !== running) return;
    const shown = Math.min(pages, MOST_SHEETS);
    const images = Array.from({ length: shown }, (_, n) => {
      const sheet = new Image();
      sheet.loading = "lazy";
      sheet.alt = `Page ${n + 1} of ${pages} of the report`;
      sheet.src = `/recordings/${key}/report/pages/${n + 1}.png?${chosen}`;
      return sheet;
    });
    sheets.replaceChildren(say(`${title}: ${pages} pages`, "h2"), ...images);
    if (pages > shown) sheets.append(say(`And ${pages - shown} more pages in the PDF.`));
  } catch (error) {
    if (mine === running) sheets.replaceChildren();
    tellProblem(error);
  } finally {
    clearInterval(ticking);
  }
}

form.addEventListener("change", (event) => {
  if (event.target.name?.endsWith("_min")) form.elements.window.value = "own";
  show();
});
form.addEventListener("submit", (event) => event.preventDefault());
show();
