// What others, and one's own other tabs, change about this recording, as it happens.
import { PAGE, tell } from "../api.js";

const WORDS = { marks: "marked or took back a mark", corrections: "corrected a finding or took a correction back", labour: "said what is known of the labour", name: "gave the recording another name", blind: "began or ended a blind reading" };

const AGAIN_MS = 15000;

/** onChange(what) is told of changes made elsewhere, and after any time in which none was heard. */
export function hear(path, onChange, { missed = false } = {}) {
  const source = new EventSource(path);
  let heard = missed;
  const reader = document.querySelector('meta[name="reader"]')?.content;
  source.addEventListener("hello", (event) => {
    const mine = document.querySelector('meta[name="version"]').content;
    const { version } = JSON.parse(event.data);
    // The line is taken up anew now and then; what happened in between was not heard.
    if (heard) onChange("labour");
    heard = true;
    document.documentElement.dataset.heard = "from now on";
    if (version !== mine) tell(`The workbench was renewed (${version}); this page is of ${mine}. Load it again; what you typed is kept.`, { kind: "caution", lasting: true, act: { words: "Load again", run: () => location.reload() } });
  });
  source.addEventListener("change", (event) => {
    const { what, by, page } = JSON.parse(event.data);
    if (page === PAGE) return;
    if (what === "removed") {
      source.close();
      tell(`${by} removed this recording.`, { kind: "problem", lasting: true });
      return;
    }
    onChange(what, by);
    if (by !== reader) tell(`${by} ${WORDS[what] || "changed something"} just now.`);
  });
  source.addEventListener("error", () => {
    // Refused (a sign-in that has ended): the browser gives up then, this page does not.
    if (source.readyState === EventSource.CLOSED) setTimeout(() => hear(path, onChange, { missed: true }), AGAIN_MS);
  });
  addEventListener("pagehide", () => source.close());
  return source;
}
