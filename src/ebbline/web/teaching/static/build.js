// Checking a case while it is written: the workbench plays it and tells its truth.
import { send } from "../api.js";

const form = document.getElementById("yaml-form");
const place = document.getElementById("checked");

function line(name, words) {
  const row = document.createElement("div");
  const term = document.createElement("dt");
  const said = document.createElement("dd");
  term.textContent = name;
  said.textContent = words;
  row.append(term, said);
  return row;
}

document.getElementById("check").addEventListener("click", async () => {
  place.replaceChildren();
  const note = document.createElement("p");
  try {
    const found = await send("POST", "/api/teach/check", { yaml: form.elements.yaml.value });
    note.className = "note done-note";
    note.textContent = `Sound: ${found.title}, difficulty ${found.difficulty}, asks for ${found.asks.join(", ")}.`;
    const list = document.createElement("dl");
    list.className = "notes truth-list";
    list.append(...found.truth.map(([name, words]) => line(name, words)), line("Shows", found.shows.join("; ") || "nothing yet"));
    place.append(note, list);
  } catch (error) {
    note.className = "note problem-note";
    note.textContent = error.message;
    place.append(note);
  }
});
