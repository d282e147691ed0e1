// What was typed and not yet acknowledged by the workbench: kept in this browser, for this reader,
// until it is. Leaving the page with something unkept asks first.
const reader = document.querySelector('meta[name="reader"]')?.content || "";
const name = (place) => `ebbline.draft.${reader}.${place}`;
const unkept = new Set();

const valuesOf = (form) => Object.fromEntries([...form.elements].filter((one) => one.name && one.name !== "csrf_token" && one.type !== "password")
  .map((one) => [one.name, one.type === "checkbox" || one.type === "radio" ? one.checked : one.value]));

/**
 * Follow a form. place: a name that stays the same when the page comes again.
 * @param {*} form @param {string} place @param {{ onRestored?: () => void }} [options]
 */
export function follow(form, place, { onRestored } = {}) {
  const first = JSON.stringify(valuesOf(form));
  const kept = read(place);
  if (kept && JSON.stringify(kept) !== first) {
    for (const one of form.elements) {
      if (!(one.name in kept)) continue;
      if (one.type === "checkbox" || one.type === "radio") one.checked = kept[one.name];
      else one.value = kept[one.name];
    }
    unkept.add(place);
    onRestored?.();
  }
  form.addEventListener("input", () => {
    const now = valuesOf(form);
    if (JSON.stringify(now) === first) drop(place);
    else keep(place, now);
  });
}

export function read(place) {
  try {
    return JSON.parse(localStorage.getItem(name(place)) || "null");
  } catch {
    return null;
  }
}

export function keep(place, value) {
  unkept.add(place);
  try {
    localStorage.setItem(name(place), JSON.stringify(value));
  } catch {
    /* a browser that keeps nothing still asks before leaving */
  }
}

/** It was acknowledged, or given up. */
export function drop(place) {
  unkept.delete(place);
  localStorage.removeItem(name(place));
}

addEventListener("beforeunload", (event) => {
  if (unkept.size) event.preventDefault();
});
