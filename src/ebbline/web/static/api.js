// Requests to this workbench: the page's token goes along, problems come back in words, and who was
// signed out signs in again in place, so that nothing on the page is lost.
export class Problem extends Error {
  constructor(said, status) {
    const place = said.where ? `${said.where}: ` : "";
    super(`${place}${said.what} ${said.remedy || ""}`.trim());
    this.status = status;
    this.said = said;
  }
}

const meta = (name) => document.querySelector(`meta[name="${name}"]`);
const token = () => meta("csrf-token").content;
/** Names this page among others of the same reader, so that it need not hear of its own changes. */
export const PAGE = crypto.randomUUID?.() || String(Math.random()).slice(2);

async function asked(path, options) {
  const headers = { ...options.headers, "x-csrf-token": token(), "x-ebbline-page": PAGE };
  try {
    return await fetch(path, { ...options, headers });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Problem({ what: "The workbench does not answer.", remedy: "Is it still running? What you typed is kept on this page." }, 0);
  }
}

async function checked(path, options) {
  let response = await asked(path, options);
  if (response.status === 401 && (await signInAgain())) response = await asked(path, options);
  if (response.ok) return response;
  let said = { what: `The workbench answered ${response.status}.` };
  try {
    said = await response.json();
  } catch {
    /* no words came with it */
  }
  throw new Problem(said, response.status);
}

/** @param {string} path @param {{ signal?: AbortSignal }} [options] */
export async function get(path, { signal } = {}) {
  return (await checked(path, { signal, headers: { accept: "application/json" } })).json();
}

export async function bytes(path) {
  return (await checked(path, {})).arrayBuffer();
}

/** @param {string} method @param {string} path @param {*} [data] @param {{ signal?: AbortSignal }} [options] */
export async function send(method, path, data, { signal } = {}) {
  const form = data instanceof FormData;
  const headers = { accept: "application/json" };
  if (!form && data !== undefined) headers["content-type"] = "application/json";
  const body = data === undefined ? undefined : form ? data : JSON.stringify(data);
  const response = await checked(path, { method, headers, body, signal });
  return response.status === 204 ? null : response.json();
}

/**
 * A piece of a page, rendered by the workbench; with data it is asked for by POST.
 * @param {string} path @param {{ data?: *, signal?: AbortSignal }} [options]
 */
export async function piece(path, { data, signal } = {}) {
  const options = data === undefined ? { signal } : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(data), signal };
  let response = await asked(path, options);
  // A page that was asked for without being signed in comes back as the sign-in page.
  const away = () => response.status === 401 || (response.redirected && new URL(response.url).pathname === "/sign-in");
  if (away() && (await signInAgain())) response = await asked(path, options);
  const text = await response.text();
  if (response.ok && !away()) return text;
  const page = new DOMParser().parseFromString(text, "text/html");
  throw new Error(page.querySelector('[role="alert"]')?.textContent || `The workbench answered ${response.status}.`);
}

let signingIn;
/** A small sign-in over the page. True when the same person is signed in again. */
function signInAgain() {
  signingIn ??= new Promise((resolve) => {
    const box = document.createElement("dialog");
    box.setAttribute("aria-labelledby", "again-title");
    const who = meta("reader")?.content || "";
    box.innerHTML = `<form class="stack" method="dialog"><h2 id="again-title">Sign in again</h2>
      <p>Your sign-in has ended. What you typed is still here.</p>
      <p class="note problem-note" role="alert" hidden></p>
      <label>Name <input name="name" autocomplete="username" required maxlength="60"></label>
      <label>Password <input name="password" type="password" autocomplete="current-password" required maxlength="1024"></label>
      <div class="dialog-end"><button type="button" data-leave>Not now</button><button class="main-action">Sign in</button></div></form>`;
    const form = box.querySelector("form");
    const alert = box.querySelector('[role="alert"]');
    form.elements.name.value = who;
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const said = { name: form.elements.name.value, password: form.elements.password.value };
      const response = await asked("/api/sign-in", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(said) }).catch((error) => error);
      const answer = response instanceof Error ? { what: response.message } : await response.json();
      if (response.ok) {
        meta("csrf-token").content = answer.csrf_token;
        box.close("in");
        if (who && answer.name !== who) location.reload();
      } else {
        alert.textContent = `${answer.what} ${answer.remedy || ""}`;
        alert.hidden = false;
      }
    });
    form.querySelector("[data-leave]").addEventListener("click", () => box.close(""));
    box.addEventListener("close", () => {
      resolve(box.returnValue === "in");
      box.remove();
      signingIn = undefined;
    });
    document.body.append(box);
    box.showModal();
    (who ? form.elements.password : form.elements.name).focus();
  });
  return signingIn;
}

let showing;
/**
 * Short words at the edge of the page. act: a button in it.
 * @param {string} words @param {{ kind?: string, lasting?: boolean, act?: { words: string, run: () => void } }} [options]
 */
export function tell(words, { kind = "done", lasting = false, act } = {}) {
  showing?.remove();
  const note = document.createElement("div");
  note.className = `note toast ${kind}-note`;
  note.setAttribute("role", kind === "problem" ? "alert" : "status");
  note.append(Object.assign(document.createElement("span"), { textContent: words }));
  const button = (text, run) => {
    const one = Object.assign(document.createElement("button"), { textContent: text });
    one.addEventListener("click", () => {
      note.remove();
      run?.();
    });
    note.append(one);
    return one;
  };
  if (act) button(act.words, act.run);
  button("Close").className = "quiet";
  (document.querySelector("dialog[open]") || document.body).append(note);
  showing = note;
  if (!lasting && kind !== "problem") setTimeout(() => note.remove(), 6000);
  return note;
}

export function tellProblem(error) {
  if (error.name === "AbortError") return;
  tell(error.message, { kind: "problem" });
}
