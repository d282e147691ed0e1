// Every state of the strip's page is an address: what is shown, the window that is read, the chosen
// finding, the tab, the standard, whose reading, the fetus. Reload, back and a shared link land where one was.
const FIELDS = ["from", "to", "window", "finding", "tab", "standard", "whose", "fetus", "rail", "guide"];

/** @returns {{ from: number | null, to: number | null, [name: string]: any }} numbers, the rest in words */
export function read() {
  const said = new URLSearchParams(location.search);
  const number = (name) => (said.has(name) && Number.isFinite(Number(said.get(name))) ? Number(said.get(name)) : null);
  const state = Object.fromEntries(FIELDS.map((name) => [name, said.get(name)]));
  return { ...state, from: number("from"), to: number("to"), fetus: number("fetus"), guide: number("guide") };
}

/** Write what changed. A step that one would go back over is pushed, the rest replaced. */
export function write(changes, { step = false } = {}) {
  const said = new URLSearchParams(location.search);
  for (const [name, value] of Object.entries(changes)) {
    if (value === null || value === undefined || value === "") said.delete(name);
    else said.set(name, String(value));
  }
  const query = said.toString();
  const address = `${location.pathname}${query ? `?${query}` : ""}`;
  if (address === location.pathname + location.search) return;
  history[step ? "pushState" : "replaceState"](null, "", address);
  for (const field of document.querySelectorAll("[data-here]")) field.value = address;
}

export function onBack(act) {
  addEventListener("popstate", () => act(read()));
}
