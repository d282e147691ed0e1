// Handing over: situation, background, assessment, recommendation, from a list in which some is untrue.
import { get, tellProblem } from "../api.js";

export function wireHandover({ path, step }) {
  const form = document.getElementById("handover");
  if (!form) return { load() {} };
  const place = form.querySelector("[data-of=statements]");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    step({ step: "hand over", said: new FormData(form).getAll("said") });
  });
  return {
    async load() {
      try {
        const kept = new Set(new FormData(form).getAll("said"));
        const found = await get(`${path}/statements`);
        const parts = [...new Set(found.map((one) => one.section))];
        place.replaceChildren(...parts.map((part) => {
          const set = document.createElement("fieldset");
          set.className = "choices";
          const legend = document.createElement("legend");
          legend.textContent = part[0].toUpperCase() + part.slice(1);
          set.append(legend, ...found.filter((one) => one.section === part).map((one) => {
            const label = document.createElement("label");
            const box = Object.assign(document.createElement("input"), { type: "checkbox", name: "said", value: one.id, checked: kept.has(one.id) });
            label.append(box, ` ${one.say}`);
            return label;
          }));
          return set;
        }));
      } catch (error) {
        tellProblem(error);
      }
    },
  };
}
