// Requests to this workbench: the page's token goes along, and problems come back in words.
export class Problem extends Error {
  constructor(said, status) {
    const place = said.where ? `${said.where}: ` : "";
    super(`${place}${said.what} ${said.remedy || ""}`.trim());
    this.status = status;
  }
}

const token = () => document.querySelector('meta[name="csrf-token"]').content;

async function checked(promise) {
  let response;
  try {
    response = await promise;
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Problem({ what: "The workbench does not answer.", remedy: "Is it still running?" }, 0);
  }
  if (response.ok) return response;
  let said = { what: `The workbench answered ${response.status}.` };
  try {
    said = await response.json();
  } catch {
    /* no words came with it */
  }
  if (response.status === 401) said.remedy = "Load the page again.";
  throw new Problem(said, response.status);
}

export async function get(path, { signal } = {}) {
  return (await checked(fetch(path, { signal, headers: { accept: "application/json" } }))).json();
}

export async function bytes(path) {
  return (await checked(fetch(path))).arrayBuffer();
}

export async function send(method, path, data, { signal } = {}) {
  const form = data instanceof FormData;
  const headers = { "x-csrf-token": token(), accept: "application/json" };
  if (!form && data !== undefined) headers["content-type"] = "application/json";
  const body = data === undefined ? undefined : form ? data : JSON.stringify(data);
  const response = await checked(fetch(path, { method, headers, body, signal }));
  return response.status === 204 ? null : response.json();
}

/** A piece of a page, rendered by the workbench; with data it is asked for by POST. */
export async function piece(path, { data, signal } = {}) {
  const asked = data === undefined ? {} : {
    method: "POST",
    headers: { "content-type": "application/json", "x-csrf-token": token() },
    body: JSON.stringify(data),
  };
  const response = await fetch(path, { ...asked, signal });
  const text = await response.text();
  if (response.ok) return text;
  const page = new DOMParser().parseFromString(text, "text/html");
  throw new Error(page.querySelector('[role="alert"]')?.textContent || `The workbench answered ${response.status}.`);
}

let showing;
export function tell(words, { kind = "done", lasting = false } = {}) {
  showing?.remove();
  const note = document.createElement("div");
  note.className = `note toast ${kind}-note`;
  note.setAttribute("role", kind === "problem" ? "alert" : "status");
  const text = document.createElement("span");
  text.textContent = words;
  const close = document.createElement("button");
  close.className = "quiet";
  close.textContent = "Close";
  close.addEventListener("click", () => note.remove());
  note.append(text, close);
  (document.querySelector("dialog[open]") || document.body).append(note);
  showing = note;
  if (!lasting && kind !== "problem") setTimeout(() => note.remove(), 6000);
  return note;
}

export function tellProblem(error) {
  if (error.name === "AbortError") return;
  tell(error.message, { kind: "problem" });
}
