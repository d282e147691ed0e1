// The page of one recording: loads samples and findings into the strip, and works its tools.
import { bytes, get, tellProblem } from "./api.js";
import { Strip } from "./strip/strip.js";

const desk = document.getElementById("desk");
const key = desk.dataset.key;
const KINDS = { "fetal heart rate": "heart", "uterine activity": "uterine", "maternal heart rate": "maternal" };

export async function loadRecording(path) {
  const recording = await get(path);
  const traces = await Promise.all(recording.channels.map(async (channel) => ({
    ...channel,
    kind: KINDS[channel.kind],
    samples: new Float32Array(await bytes(channel.samples_href)),
  })));
  return { ...recording, traces };
}

const box = document.getElementById("strip");
const strip = new Strip(box, { label: "Strip of this recording" });
try {
  const recording = await loadRecording(`/api/recordings/${key}`);
  strip.load(recording);
  const found = await get(`/api/recordings/${key}/findings`);
  strip.setItems(found.items);
  strip.setBaseline(found.baseline);
  strip.setColumns(found.columns);
  box.removeAttribute("aria-busy");
} catch (error) {
  tellProblem(error);
}
