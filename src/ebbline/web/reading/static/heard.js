// What others, and one's own other tabs, change about this recording, as it happens.
import { PAGE, tell } from "../api.js";

const WORDS = { marks: "marked or took back a mark", corrections: "corrected a finding or took a correction back", labour: "said what is known of the labour", name: "gave the recording another name", blind: "began or ended a blind reading" };

/** onChange(what) is told of changes made elsewhere. */
export function hear(path, onChange) {
  const source = new EventSource(path);
  const reader = document.querySelector('meta[name="reader"]')?.content;
  source.addEventListener("hello", (event) => {
    const mine = document.querySelector('meta[name="version"]').content;
    const { version } = JSON.parse(event.data);
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
  addEventListener("pagehide", () => source.close());
  return source;
}
