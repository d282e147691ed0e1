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
    chosen.set("from_s", 0);
    chosen.set("to_s", form.dataset.duration);
  } else if (which === "own") {
    chosen.set("from_s", Number(form.elements.from_min.value) * 60);
    chosen.set("to_s", Number(form.elements.to_min.value) * 60);
  }
  if (form.elements.fetus) chosen.set("fetus", form.elements.fetus.value);
  for (const name of ["exam", "marks", "corrections"]) chosen.set(name, form.elements[name].checked);
  return chosen;
}

let running;
async function show() {
  const chosen = query();
  document.getElementById("pdf").href = `/api/recordings/${key}/report.pdf?${chosen}`;
  document.getElementById("fhir").href = `/api/recordings/${key}/fhir.json?${chosen}`;
  running?.abort();
  running = new AbortController();
  try {
    const { pages } = await get(`/recordings/${key}/report/pages?${chosen}`, { signal: running.signal });
    const shown = Math.min(pages, MOST_SHEETS);
    sheets.replaceChildren(...Array.from({ length: shown }, (_, n) => {
      const sheet = new Image();
      sheet.loading = "lazy";
      sheet.alt = `Page ${n + 1} of ${pages} of the report`;
      sheet.src = `/recordings/${key}/report/pages/${n + 1}.png?${chosen}`;
      return sheet;
    }));
    if (pages > shown) sheets.append(Object.assign(document.createElement("p"), { textContent: `And ${pages - shown} more pages in the PDF.` }));
  } catch (error) {
    sheets.replaceChildren();
    tellProblem(error);
  }
}

form.addEventListener("change", (event) => {
  if (event.target.name?.endsWith("_min")) form.elements.window.value = "own";
  show();
});
form.addEventListener("submit", (event) => event.preventDefault());
show();
