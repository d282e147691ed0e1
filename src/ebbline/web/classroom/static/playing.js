// How far a class is whose learners play alone: counts and scores, no names.
import { get, tellProblem } from "../api.js";

const el = (id) => document.getElementById(id);
const path = `/api/teach/classes/${el("playing").dataset.code}/played`;

function bars(place, title, rows) {
  if (!rows.length) {
    place.replaceChildren();
    return;
  }
  const head = document.createElement("h3");
  head.textContent = title;
  const list = document.createElement("ul");
  list.className = "plain";
  list.append(...rows.map(([words, count, most]) => {
    const li = document.createElement("li");
    li.className = "item-row";
    const name = document.createElement("span");
    name.textContent = words;
    const end = document.createElement("span");
    const bar = document.createElement("meter");
    bar.max = most;
    bar.value = count;
    bar.setAttribute("aria-label", words);
    end.append(bar, ` ${count}`);
    li.append(name, end);
    return li;
  }));
  place.replaceChildren(head, list);
}

async function look() {
  try {
    const now = await get(path);
    for (const name of ["learners", "begun", "finished"]) el(name).textContent = now[name];
    const bands = [["below 50 %", 0, 0.5], ["50 to 79 %", 0.5, 0.8], ["80 % and more", 0.8, 1.01]];
    const total = Math.max(1, now.finished);
    bars(el("shares"), "Scores", now.finished ? bands.map(([words, from, to]) => [words, now.shares.filter((s) => s >= from && s < to).length, total]) : []);
    bars(el("said"), now.true ? `The class they gave (truth: ${now.true})` : "", Object.entries(now.said).map(([words, count]) => [words, count, total]));
  } catch (error) {
    tellProblem(error);
  }
}

look();
setInterval(look, 3000);
