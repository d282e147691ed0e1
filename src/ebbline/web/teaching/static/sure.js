// How sure one is of each answer: a small list beside the field; what is not said is not scored.
const STEPS = [["", "how sure?"], ["0.35", "a guess"], ["0.6", "rather"], ["0.8", "quite"], ["0.95", "certain"]];

/** fields: form field's name -> the item's name in the score. */
export function addSure(form, fields) {
  for (const [name, item] of Object.entries(fields)) {
    const found = form.elements[name];
    const field = found instanceof RadioNodeList ? found[0] : found;
    const holder = field?.closest("label, fieldset");
    if (!holder) continue;
    const select = document.createElement("select");
    select.dataset.sure = item;
    select.className = "sure";
    select.setAttribute("aria-label", `How sure: ${item}`);
    select.append(...STEPS.map(([value, words]) => new Option(words, value)));
    if (holder.tagName === "FIELDSET") holder.append(select);
    else {
      const row = document.createElement("div");
      row.className = "sure-row";
      holder.replaceWith(row);
      row.append(holder, select);
    }
  }
}

export function sureOf(form) {
  return [...form.querySelectorAll("[data-sure]")].filter((one) => one.value).map((one) => [one.dataset.sure, Number(one.value)]);
}
