// The drawn abdomen: zones to touch, what was found in them, the map of where the heart is heard,
// and the sensors' places. Seen from the front: her left is on the right of the picture.
// Centimetres from the umbilicus, x to her left, y towards her head.
const NS = "http://www.w3.org/2000/svg";
const K = 10; // drawing units in a centimetre

export function make(name, attributes = {}, ...children) {
  const node = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

const FEEL = {
  "fundus": { words: "the fundus", column: "all", row: "top" },
  "right flank": { words: "her right flank", column: "right", row: "middle" },
  "front": { words: "the front", column: "middle", row: "middle" },
  "left flank": { words: "her left flank", column: "left", row: "middle" },
  "right fossa": { words: "her right fossa", column: "right", row: "low" },
  "brim": { words: "above the symphysis", column: "middle", row: "low" },
  "left fossa": { words: "her left fossa", column: "left", row: "low" },
};

export class AbdomenDrawing extends EventTarget {
  constructor(svg) {
    super();
    this.svg = svg;
    this.mode = "feel";
    this.shown = { abdomen: null, map: null, sites: {}, words: {} };
    this.byKey = false;
    svg.addEventListener("click", (event) => {
      this.byKey = false;
      this.touched(event);
    });
    svg.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      this.byKey = true;
      this.touched(event);
    });
  }

  /** mode: feel, listen, kicks, or place (anywhere, in cm: for placing a sensor). */
  setMode(mode) {
    this.mode = mode;
    this.draw();
  }

  /** abdomen, map: as from /api/examine; sites: {best, fallback, contraction, drift}; words: zone -> text. */
  show({ abdomen, map = null, sites = {}, words = {} }) {
    this.shown = { abdomen, map, sites, words };
    this.draw();
  }

  touched(event) {
    const zone = event.target.closest("[data-zone]");
    if (zone) {
      this.dispatchEvent(new CustomEvent("zone", { detail: { mode: this.mode, zone: zone.dataset.zone, words: zone.getAttribute("aria-label") } }));
      return;
    }
    if (this.mode !== "place" || event.type !== "click") return;
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    this.dispatchEvent(new CustomEvent("place", { detail: { x_cm: at.x / K, y_cm: -at.y / K } }));
  }

  draw() {
    const { abdomen } = this.shown;
    if (!abdomen) return;
    const focus = this.byKey ? document.activeElement?.dataset?.zone : null;
    const wide = abdomen.flank_x_cm + 5;
    const top = abdomen.fundus_y_cm + 6;
    const bottom = abdomen.symphysis_y_cm - 5;
    this.svg.setAttribute("viewBox", `${-wide * K} ${-top * K} ${2 * wide * K} ${(top - bottom) * K}`);
    const edge = this.edge(abdomen);
    const clip = make("clipPath", { id: "womb" }, make("path", { d: edge }));
    this.svg.replaceChildren(
      make("defs", {}, clip),
      this.body(abdomen, wide, top, bottom),
      make("path", { class: "womb-ground", d: edge }),
      ...this.heat(),
      make("path", { class: "womb", d: edge }),
      ...this.zones(abdomen),
      ...this.landmarks(abdomen),
      ...this.found(abdomen),
      ...this.sensors(),
    );
    if (focus) this.svg.querySelector(`[data-zone="${focus}"]`)?.focus();
  }

  body(abdomen, wide, top, bottom) {
    const f = abdomen.flank_x_cm;
    const side = (s) => `M${s * (f - 1) * K} ${-top * K} C${s * (f + 2.5) * K} ${-(abdomen.fundus_y_cm - 4) * K} ${s * (f + 4) * K} ${6 * K} ${s * (f + 2) * K} ${-abdomen.symphysis_y_cm * 0.6 * K} S${s * (f - 1) * K} ${-bottom * K} ${s * (f - 1.5) * K} ${-bottom * K}`;
    return make("path", { class: "body-line", d: side(-1) + side(1) });
  }

  edge(abdomen) {
    const right = abdomen.outline.map(([x, y]) => `${x * K} ${-y * K}`);
    const left = [...abdomen.outline].reverse().map(([x, y]) => `${-x * K} ${-y * K}`);
    return `M${right.join(" L")} L${left.join(" L")} Z`;
  }

  heat() {
    const { map } = this.shown;
    if (!map) return [];
    const { x_cm: xs, y_cm: ys, weights } = map;
    const most = Math.max(...weights.map((row) => Math.max(...row))) || 1;
    const picture = document.createElement("canvas");
    picture.width = xs.length;
    picture.height = ys.length;
    const ctx = picture.getContext("2d");
    const pixels = ctx.createImageData(xs.length, ys.length);
    const [r, g, b] = getComputedStyle(this.svg).getPropertyValue("--map-ink").trim().split(/\s+/).map(Number);
    weights.forEach((row, j) => row.forEach((weight, i) => {
      const at = ((ys.length - 1 - j) * xs.length + i) * 4;
      pixels.data.set([r, g, b, Math.round(200 * (weight / most) ** 0.7)], at);
    }));
    ctx.putImageData(pixels, 0, 0);
    const image = make("image", {
      href: picture.toDataURL(), x: (xs[0] - 0.5) * K, y: -(ys.at(-1) + 0.5) * K,
      width: xs.length * K, height: ys.length * K, preserveAspectRatio: "none", "clip-path": "url(#womb)",
    });
    return [image, make("path", { class: "region", d: this.region(map), "clip-path": "url(#womb)" })];
  }

  /** The edge of the smallest region that holds most of the map, cell by cell. */
  region({ x_cm: xs, y_cm: ys, weights, region_density: least }) {
    const inside = (j, i) => (weights[j]?.[i] ?? 0) >= least * (1 - 1e-6);
    let d = "";
    ys.forEach((y, j) => xs.forEach((x, i) => {
      if (!inside(j, i)) return;
      const [l, r, t, b] = [(x - 0.5) * K, (x + 0.5) * K, -(y + 0.5) * K, -(y - 0.5) * K];
      if (!inside(j + 1, i)) d += `M${l} ${t}H${r}`;
      if (!inside(j - 1, i)) d += `M${l} ${b}H${r}`;
      if (!inside(j, i - 1)) d += `M${l} ${t}V${b}`;
      if (!inside(j, i + 1)) d += `M${r} ${t}V${b}`;
    }));
    return d || "M0 0";
  }

  /** Columns and rows of the zones in cm, for the mode in hand. */
  grid(abdomen) {
    const up = (share) => abdomen.symphysis_y_cm + share * abdomen.fundal_height_cm;
    const f = abdomen.flank_x_cm;
    return { up, f };
  }

  zones(abdomen) {
    const { up, f } = this.grid(abdomen);
    const made = [];
    const zone = (name, label, x0, x1, y0, y1) => {
      const box = make("rect", { class: "zone", "data-zone": name, tabindex: 0, role: "button", "aria-label": label, x: x0 * K, y: -y1 * K, width: (x1 - x0) * K, height: (y1 - y0) * K, "clip-path": "url(#womb)" });
      box.append(make("title", {}, label));
      made.push(box);
    };
    if (this.mode === "feel") {
      const columns = { right: [-f, -0.42 * f], middle: [-0.42 * f, 0.42 * f], left: [0.42 * f, f], all: [-f, f] };
      const rows = { top: [up(0.78), up(1.06)], middle: [up(0.33), up(0.78)], low: [up(-0.02), up(0.33)] };
      for (const [name, { words, column, row }] of Object.entries(FEEL)) zone(name, words, ...columns[column], ...rows[row]);
    } else if (this.mode === "listen") {
      const columns = [["right flank", -f, -0.62 * f], ["right", -0.62 * f, -0.15 * f], ["midline", -0.15 * f, 0.15 * f], ["left", 0.15 * f, 0.62 * f], ["left flank", 0.62 * f, f]];
      const rows = [["above", 3, abdomen.fundus_y_cm + 2], ["level", -3, 3], ["below", abdomen.symphysis_y_cm - 1, -3]];
      for (const [across, x0, x1] of columns) for (const [height, y0, y1] of rows) zone(`${across} ${height}`, `${across} ${height}`, x0, x1, y0, y1);
    } else if (this.mode === "kicks") {
      const columns = [["right", -f, -0.33 * f], ["middle", -0.33 * f, 0.33 * f], ["left", 0.33 * f, f]];
      const rows = [["upper", up(0.66), up(1.06)], ["middle", up(0.33), up(0.66)], ["lower", up(-0.02), up(0.33)]];
      for (const [across, x0, x1] of columns) {
        for (const [height, y0, y1] of rows) {
          const name = across === "middle" && height === "middle" ? "middle" : `${height} ${across}`;
          zone(name, name, x0, x1, y0, y1);
        }
      }
    }
    return made;
  }

  landmarks(abdomen) {
    const marks = [];
    marks.push(make("circle", { class: "landmark", cx: 0, cy: 0, r: 6 }));
    marks.push(make("path", { class: "landmark bone", d: `M-28 ${-abdomen.symphysis_y_cm * K + 4}Q0 ${-abdomen.symphysis_y_cm * K - 8} 28 ${-abdomen.symphysis_y_cm * K + 4}` }));
    for (const s of [-1, 1]) {
      const px = s * abdomen.spine_x_cm * K;
      const py = -abdomen.spine_y_cm * K;
      marks.push(make("path", { class: "landmark bone", d: `M${px - 7} ${py}h14M${px} ${py - 7}v14` }));
    }
    const label = (px, py, words, anchor = "middle") => make("text", { class: "landmark-name", x: px, y: py, "text-anchor": anchor }, words);
    const wide = abdomen.flank_x_cm + 4.6;
    marks.push(label(-wide * K, -(abdomen.fundus_y_cm + 4.4) * K, "her right", "start"));
    marks.push(label(wide * K, -(abdomen.fundus_y_cm + 4.4) * K, "her left", "end"));
    marks.push(label(0, -abdomen.symphysis_y_cm * K + 26, "symphysis"));
    return marks;
  }

  /** Where the words of what was found stand, by place. */
  spot(abdomen, place) {
    const { up, f } = this.grid(abdomen);
    return {
      "fundus": [0, up(0.95)], "right flank": [-0.66 * f, up(0.52)], "front": [0, up(0.62)], "left flank": [0.66 * f, up(0.52)],
      "right fossa": [-0.55 * f, up(0.2)], "brim": [0, up(0.12)], "left fossa": [0.55 * f, up(0.2)],
    }[place];
  }

  found(abdomen) {
    return Object.entries(this.shown.words).flatMap(([place, lines]) => {
      const at = this.spot(abdomen, place);
      if (!at || !lines.length) return [];
      const text = make("text", { class: "found-words", "text-anchor": "middle", x: at[0] * K, y: -at[1] * K - (lines.length - 1) * 10 });
      lines.forEach((words, row) => text.append(make("tspan", { x: at[0] * K, dy: row ? 20 : 0 }, words)));
      return [text];
    });
  }

  sensors() {
    const { best, fallback, contraction, drift, heard, kicks } = this.shown.sites;
    const made = [];
    if (drift?.length > 1) made.push(make("path", { class: "site-drift", d: `M${drift.map((p) => `${p.x_cm * K} ${-p.y_cm * K}`).join(" L")}` }));
    if (contraction) made.push(make("rect", { class: "site-squeeze", x: contraction.x_cm * K - 15, y: -contraction.y_cm * K - 15, width: 30, height: 30, rx: 5 }));
    if (fallback) made.push(make("circle", { class: "site-second", cx: fallback.x_cm * K, cy: -fallback.y_cm * K, r: 14 }));
    if (best) {
      const [px, py] = [best.x_cm * K, -best.y_cm * K];
      made.push(make("circle", { class: "site-best", cx: px, cy: py, r: 16 }), make("path", { class: "site-cross", d: `M${px} ${py - 12}v24M${px - 12} ${py}h24` }));
    }
    for (const [point, words] of [[heard, "heard here"], [kicks, "kicks"]]) {
      if (point) made.push(make("text", { class: "found-words", "text-anchor": "middle", x: point.x_cm * K, y: -point.y_cm * K + 44 }, words));
    }
    return made;
  }
}
