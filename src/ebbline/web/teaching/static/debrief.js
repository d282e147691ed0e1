// The debrief's pictures: the strip with the truth above the learner's marks, and the abdomen.
import { bytes, get, tellProblem } from "../api.js";
import { Strip } from "../strip/strip.js";
import { wireTools } from "../strip/tools.js";
import { Abdomen } from "./abdomen.js";

const place = document.getElementById("debrief-strip");
if (place) {
  try {
    const made = await get(`/api/teach/attempts/${place.dataset.key}/debrief-strip`);
    const bar = document.getElementById("tools");
    for (const name of ["mark", "correct"]) bar.querySelector(`[data-tool="${name}"]`)?.remove();
    bar.querySelector('[data-act="blind"]')?.remove();
    if (made.traces.length) {
      const strip = new Strip(document.getElementById("strip"), { label: "The strip, truth above and your marks below", columns: false });
      const traces = await Promise.all(made.traces.map(async (t) => ({ ...t, fetus: 1, samples: new Float32Array(await bytes(t.samples_href)) })));
      strip.load({ duration_s: made.duration_s, start: null, traces });
      strip.setWindow({ start_s: made.window[0], end_s: made.window[1] });
      strip.setBaseline(made.baseline);
      strip.setItems(made.items);
      wireTools(strip, bar, {});
      const lay = () => {
        strip.layout();
        strip.goto(made.window[0], strip.spp, false);
      };
      lay();
      // Drawn anew when its part is unfolded: folded it has no width.
      place.closest("details")?.addEventListener("toggle", lay);
    } else document.querySelector(".strip-wait").textContent = "No strip was recorded.";
  } catch (error) {
    tellProblem(error);
  }
}

const drawn = document.getElementById("abdomen");
if (drawn) {
  const d = drawn.dataset;
  const point = (text) => {
    const [x, y] = text.split(",").map(Number);
    return text ? { x_cm: x, y_cm: y } : null;
  };
  const abdomen = new Abdomen(drawn, JSON.parse(document.getElementById("drawn").textContent), { still: true, label: "Where the sensors lay and where they should have lain" });
  abdomen.setSensors({ heart: point(d.heart), contraction: point(d.contraction) });
  abdomen.setMarks(d.sites.trim().split(" ").filter(Boolean).map((text) => ({ ...point(text), kind: "best", words: "best site" })));
}
