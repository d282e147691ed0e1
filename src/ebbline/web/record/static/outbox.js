// Entries on their way: kept on this tablet until the server has answered that they are on disk.
import { send, Problem } from "/static/api.js";

const KEY = "ebbline-record-outbox";
const listeners = new Set();

export const token = () => {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
};

export function kept(key) {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

export function keep(key, value) {
  try {
    if (value === null) localStorage.removeItem(key);
    else localStorage.setItem(key, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}

const waiting = () => kept(KEY) || [];

export function onChange(listener) {
  listeners.add(listener);
  listener(waiting());
}

function changed() {
  for (const listener of listeners) listener(waiting());
}

/** Whether the same may be sent again: the server did not say that it is wrong. */
const mayRetry = (error) => error instanceof Problem && (error.status === 0 || error.status >= 500);

/** Send an entry. Gives what stands in the record, or null where it waits here for the server. */
export async function write(caseNumber, entry) {
  const message = { path: `/api/record/cases/${caseNumber}/entries`, entry: { ...entry, token: token() } };
  const safe = keep(KEY, [...waiting(), message]);
  try {
    const found = await send("POST", message.path, message.entry);
    drop(message);
    return found;
  } catch (error) {
    if (safe && mayRetry(error)) {
      changed();
      return null;
    }
    drop(message);
    throw error;
  }
}

function drop(message) {
  keep(KEY, waiting().filter((one) => one.entry.token !== message.entry.token));
  changed();
}

let busy = false;
export async function sendWaiting(onSent) {
  if (busy) return;
  busy = true;
  try {
    for (const message of waiting()) {
      try {
        const found = await send("POST", message.path, message.entry);
        drop(message);
        onSent?.(found);
      } catch (error) {
        if (!mayRetry(error)) {
          // It will never be taken as it is: shown, and kept until somebody has read it.
          keep(KEY, waiting().map((one) => (one.entry.token === message.entry.token ? { ...one, refused: error.message } : one)));
          changed();
          if (!message.refused) continue;
        }
        break;
      }
    }
  } finally {
    busy = false;
  }
}

export function showOutbox(note, onSent) {
  onChange((messages) => {
    note.hidden = messages.length === 0;
    if (!messages.length) return;
    const refused = messages.find((one) => one.refused);
    note.textContent = refused
      ? `An entry was not taken: ${refused.refused} `
      : `${messages.length} ${messages.length === 1 ? "entry waits" : "entries wait"} on this tablet: the server does not answer. They are sent again by themselves.`;
    if (refused) {
      const words = document.createElement("span");
      words.textContent = Object.entries(refused.entry.fields).map(([k, v]) => `${k}: ${v}`).join("; ") + " ";
      const away = document.createElement("button");
      away.type = "button";
      away.textContent = "I have read it, put it away";
      away.addEventListener("click", () => drop(refused));
      note.append(words, away);
    }
  });
  setInterval(() => sendWaiting(onSent), 5000);
  sendWaiting(onSent);
}

/** A time as ISO text with this tablet's zone. */
export function iso(date) {
  const pad = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");
  const zone = -date.getTimezoneOffset();
  const sign = zone < 0 ? "-" : "+";
  return `${date.getFullYear()}-${pad(date.getMonth() + 1)}-${pad(date.getDate())}T${pad(date.getHours())}:${pad(date.getMinutes())}:${pad(date.getSeconds())}${sign}${pad(zone / 60)}:${pad(zone % 60)}`;
}

export function steppers(root) {
  root.addEventListener("click", (event) => {
    const button = event.target.closest("[data-step]");
    if (!button) return;
    const input = button.parentElement.querySelector("input");
    const step = Number(button.dataset.step);
    const said = input.value.trim().replace(",", ".");
    const from = said !== "" ? said : input.dataset.from || "";
    if (from === "") {
      // No value is made up: the first one is typed.
      input.focus();
      return;
    }
    // The first touch gives the last value, the next ones change it.
    const value = said === "" ? Number(from) : Number(from) + step;
    if (Number.isFinite(value)) input.value = String(Math.round(value * 100) / 100);
    input.dispatchEvent(new Event("input", { bubbles: true }));
  });
}
