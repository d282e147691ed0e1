// What others, and one's own other tabs, change about this recording, as it happens.
import { PAGE, tell } from "../api.js";

const WORDS = { marks: "marked or took back a mark", corrections: "corrected a finding or took a correction back", labour: "said what is known of the labour", name: "gave the recording another name", blind: "began or ended a blind reading" };

const AGAIN_MS = 15000;

/**
 * onChange(what) is told of changes made elsewhere, and of those in any time in which none was heard.
 * shown: how many changes there were when the page was made.
 */
export function hear(path, onChange, shown) {
  const source = new EventSource(path);
  const reader = document.querySelector('meta[name="reader"]')?.content;
  source.addEventListener("hello", (event) => {
    const mine = document.querySelector('meta[name="version"]').content;
    const { version, changes } = JSON.parse(event.data);
    // The line is taken up after the page was made, and anew now and then; what happened meanwhile
    // was not heard. A workbench begun anew counts from nothing.
    if (changes !== shown) onChange("labour");
    shown = changes;
    document.documentElement.dataset.heard = "from now on";
    if (version !== mine) tell(`The workbench was renewed (${version}); this page is of ${mine}. Load it again; what you typed is kept.`, { kind: "caution", lasting: true, act: { words: "Load again", run: () => location.reload() } });
  });
  source.addEventListener("change", (event) => {
    const { what, by, page } = JSON.parse(event.data);
    shown += 1;
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
    if (source.readyState === EventSource.CLOSED) setTimeout(() => hear(path, onChange, shown), AGAIN_MS);
  });
  addEventListener("pagehide", () => source.close());
  return source;
}
