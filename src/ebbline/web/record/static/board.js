// The list of beds: opening a case, taking one in.
import { send } from "/static/api.js";
import { token } from "./outbox.js";

function problem(form, error) {
  const note = form.querySelector(".problem-note");
  note.hidden = false;
  note.textContent = error.message;
}

const opening = document.getElementById("open-case");
let mark = token();
opening.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    const found = await send("POST", "/api/record/cases", { case: opening.elements.case.value, bed: opening.elements.bed.value, token: mark });
    mark = token();
    location.href = `/record/${(opening.elements.case.value || "").trim().toUpperCase()}#write-labour`;
    return found;
  } catch (error) {
    problem(opening, error);
  }
});

const taking = document.getElementById("take-in");
taking.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    const found = await send("POST", "/api/record/archive", new FormData(taking));
    location.href = `/record/${found.case}`;
  } catch (error) {
    problem(taking, error);
  }
});

setInterval(() => {
  const typing = document.activeElement?.matches("input") || opening.elements.case.value || opening.elements.bed.value;
  if (!document.hidden && !typing) location.reload();
}, 60000);
