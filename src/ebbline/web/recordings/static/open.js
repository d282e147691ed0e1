// The first page: files by drop or choice, invented cases, removing.
import { send, tell, tellProblem } from "../api.js";

const drop = document.getElementById("drop");
const chooser = document.getElementById("files");
const paper = document.getElementById("paper");
const PICTURE = /\.(jpe?g|png|tiff?|pdf)$/i;
const state = document.getElementById("upload-state");

function say(words, busy) {
  state.textContent = words;
  state.classList.toggle("busy", busy);
}

async function upload(files) {
  if (!files.length) return;
  const form = new FormData();
  for (const file of files) form.append("files", file, file.name);
  const pictures = [...files].filter((file) => PICTURE.test(file.name)).length;
  if (pictures) {
    const answers = [...paper.querySelectorAll("select, input")].filter((one) => one.value.trim());
    for (const one of answers) form.append(one.name, one.value.trim());
    paper.open = true;
    if (!answers.some((one) => one.name === "paper_speed")) {
      say("A picture of paper: say its speed first, then choose it again.", false);
      paper.querySelector("select").focus();
      chooser.value = "";
      return;
    }
  }
  say(`Reading ${[...files].map((f) => f.name).join(" and ")}…`, true);
  try {
    // Pictures are looked at, and corrected, before they are a recording.
    const card = await send("POST", pictures ? "/api/papers" : "/api/recordings", form);
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

document.querySelector(".invented")?.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-case]");
  if (!button) return;
  say("Inventing a labour…", true);
  try {
    const card = await send("POST", "/api/invented", { case: button.dataset.case });
    location.assign(button.dataset.guide === undefined ? card.href : `${card.href}?guide=1`);
  } catch (error) {
    say("", false);
    tellProblem(error);
  }
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-rename]");
  if (!button) return;
  const link = button.closest("tr").querySelector("a.big-link");
  const dialog = document.createElement("dialog");
  dialog.setAttribute("aria-labelledby", "rename-title");
  dialog.innerHTML = `<form class="stack"><h2 id="rename-title">Another name</h2>
    <label>Name <input name="name" required maxlength="120" autocomplete="off"></label>
    <p class="soft">No names of mothers, please. The name before stays on record.</p>
    <div class="dialog-end"><button type="button" data-leave>Leave it</button><button class="main-action">Rename</button></div></form>`;
  const form = dialog.querySelector("form");
  form.elements.name.value = link.textContent;
  form.addEventListener("submit", async (submitted) => {
    submitted.preventDefault();
    try {
      const card = await send("PUT", `/api/recordings/${button.dataset.rename}/name`, { name: form.elements.name.value });
      link.textContent = card.name;
      dialog.close();
      tell("Renamed.");
    } catch (error) {
      tellProblem(error);
    }
  });
  form.querySelector("[data-leave]").addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
  form.elements.name.select();
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-remove]");
  if (!button) return;
  const row = button.closest("tr");
  const name = row.querySelector("a.big-link").textContent;
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
