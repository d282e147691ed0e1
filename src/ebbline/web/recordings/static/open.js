// The first page: files by drop or choice, invented cases, removing.
import { send, tell, tellProblem } from "../api.js";

const drop = document.getElementById("drop");
const chooser = document.getElementById("files");
const state = document.getElementById("upload-state");

function say(words, busy) {
  state.textContent = words;
  state.classList.toggle("busy", busy);
}

async function upload(files) {
  if (!files.length) return;
  const form = new FormData();
  for (const file of files) form.append("files", file, file.name);
  say(`Reading ${[...files].map((f) => f.name).join(" and ")}…`, true);
  try {
    const card = await send("POST", "/api/recordings", form);
    location.assign(card.href);
  } catch (error) {
    say("", false);
    tellProblem(error);
    chooser.value = "";
  }
}

chooser.addEventListener("change", () => upload(chooser.files));

let depth = 0;
addEventListener("dragenter", (event) => {
  event.preventDefault();
  depth += 1;
  drop.classList.add("over-it");
});
addEventListener("dragleave", () => {
  depth -= 1;
  if (depth <= 0) drop.classList.remove("over-it");
});
addEventListener("dragover", (event) => event.preventDefault());
addEventListener("drop", (event) => {
  event.preventDefault();
  depth = 0;
  drop.classList.remove("over-it");
  upload(event.dataTransfer.files);
});

document.getElementById("cases")?.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-case]");
  if (!button) return;
  say("Inventing a labour…", true);
  try {
    const card = await send("POST", "/api/invented", { case: button.dataset.case });
    location.assign(card.href);
  } catch (error) {
    say("", false);
    tellProblem(error);
  }
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-remove]");
  if (!button) return;
  const row = button.closest("tr");
  const name = row.querySelector("a").textContent;
  if (!button.dataset.sure) {
    button.dataset.sure = "yes";
    button.classList.remove("quiet");
    button.textContent = "Really remove?";
    button.setAttribute("aria-label", `Really remove ${name}, with all marks and corrections?`);
    return;
  }
  try {
    await send("DELETE", `/api/recordings/${row.dataset.key}`);
    row.remove();
    tell(`${name} was removed.`);
  } catch (error) {
    tellProblem(error);
  }
});
