// The drawn abdomen: places to feel, places to listen, sensors that lie on it.
//
//   const abdomen = new Abdomen(element, measures, { zones: true });
//   abdomen.addEventListener("zone", ({ detail }) => detail.zone);
//   abdomen.addEventListener("point", ({ detail }) => detail);     {x_cm, y_cm}
//   abdomen.setSensors({ heart: {x_cm, y_cm} | null, contraction: … }); abdomen.setMarks([...])
//
// Centimetres along the skin, the umbilicus at the origin, x to the mother's left (the viewer's
// right), y upwards. The drawing is the examination room's own (`drawn`, from the workbench); here
// only what is touched, and what lies on it, is added.
const NS = "http://www.w3.org/2000/svg";

function make(name, attributes = {}, ...children) {
  const node = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

const round = (value) => Math.round(value * 10) / 10;

export function placeWords({ x_cm: x, y_cm: y }) {
  const across = Math.abs(x) < 0.75 ? "in the midline" : `${Math.round(Math.abs(x))} cm to her ${x > 0 ? "left" : "right"}`;
  const up = Math.abs(y) < 0.75 ? "level with the umbilicus" : `${Math.round(Math.abs(y))} cm ${y > 0 ? "above" : "below"} the umbilicus`;
  return `${across}, ${up}`;
}

export class Abdomen extends EventTarget {
  constructor(root, drawn, { zones = false, still = false, label = "The abdomen" } = {}) {
    super();
    this.root = root;
    const measures = drawn.measures;
    this.m = measures;
    this.cursor = { x_cm: 0, y_cm: 0 };
    this.middle = measures.symphysis_y_cm + 0.52 * measures.fundal_height_cm;
    this.half = 0.52 * measures.fundal_height_cm;
    this.round = drawn.round_cm;
    this.wide = this.seen(measures.flank_x_cm);
    this.left = drawn.x_cm;
    this.right = drawn.x_cm + drawn.width_cm;
    this.top = -drawn.y_cm;
    this.bottom = -(drawn.y_cm + drawn.height_cm);
    this.svg = make("svg", {
      viewBox: `${drawn.x_cm} ${drawn.y_cm} ${drawn.width_cm} ${drawn.height_cm}`,
      class: "abdomen-picture",
    });
    this.clip = `uterus-${Math.random().toString(36).slice(2)}`;
    this.svg.append(make("defs", {}, make("clipPath", { id: this.clip }, make("path", { d: this.edge() }))), this.figure(drawn));
    this.marks = make("g", { class: "abdomen-marks" });
    this.sensors = make("g", { class: "abdomen-sensors" });
    if (still) {
      this.svg.setAttribute("role", "img");
      this.svg.setAttribute("aria-label", label);
      this.svg.append(this.marks, this.sensors);
    } else if (zones) {
      this.svg.setAttribute("role", "group");
      this.svg.setAttribute("aria-label", label);
      this.zones();
      this.svg.append(this.marks, this.sensors);
    } else {
      this.cross = make("g", { class: "abdomen-cross", visibility: "hidden" },
        make("path", { d: "M-1.6 0H1.6M0 -1.6V1.6" }));
      this.svg.append(this.marks, this.sensors, this.cross);
      this.points(label);
    }
    this.words = document.createElement("p");
    this.words.className = "abdomen-words soft";
    this.words.setAttribute("aria-live", "polite");
    root.replaceChildren(this.svg, this.words);
  }

  /** From along the skin to as seen from the front, and back. */
  seen(x) {
    return this.round * Math.sin(Math.min(Math.max(x / this.round, -Math.PI / 2), Math.PI / 2));
  }

  along(x) {
    return this.round * Math.asin(Math.min(Math.max(x / this.round, -1), 1));
  }

  edge() {
    const side = [];
    for (let i = 0; i <= 48; i += 1) {
      const y = this.middle - this.half * Math.cos((Math.PI * i) / 48);
      const inside = 1 - ((y - this.middle) / this.half) ** 2;
      side.push([this.seen(this.m.flank_x_cm * Math.sqrt(Math.max(inside, 0))), -y]);
    }
    const back = side.map(([x, y]) => [-x, y]).reverse();
    return `M${[...side, ...back].map(([x, y]) => `${x.toFixed(2)} ${y.toFixed(2)}`).join("L")}Z`;
  }

  /** The drawing itself, laid under everything. */
  figure(drawn) {
    const found = new DOMParser().parseFromString(drawn.svg, "image/svg+xml").documentElement;
    const box = found.getAttribute("viewBox").split(" ").map(Number);
    const own = make("g", { class: "abdomen-figure", "aria-hidden": "true", transform: `translate(${drawn.x_cm} ${drawn.y_cm}) scale(${drawn.width_cm / box[2]})` });
    own.setAttribute("font-family", found.getAttribute("font-family"));
    own.append(...[...found.childNodes].filter((one) => one.nodeName !== "title").map((one) => document.importNode(one, true)));
    return own;
  }

  // -- zones -------------------------------------------------------------------------------

  zones() {
    const { wide, middle, half } = this;
    const m = this.m;
    const at = (share) => -(m.symphysis_y_cm + share * m.fundal_height_cm);
    const top = -(middle + half) - 1;
    const inner = wide * 0.42;
    const fossa = m.symphysis_y_cm + 0.3 * m.fundal_height_cm;
    const brim = m.symphysis_y_cm + 0.2 * m.fundal_height_cm;
    const rects = {
      fundus: [-wide, top, 2 * wide, at(0.76) - top],
      "right flank": [-wide, at(0.76), wide - inner, -fossa - at(0.76)],
      "left flank": [inner, at(0.76), wide - inner, -fossa - at(0.76)],
      "around the umbilicus": [-inner, at(0.76), 2 * inner, -brim - at(0.76)],
      "right iliac fossa": [-wide, -fossa, wide - inner, at(-0.05) + fossa],
      "left iliac fossa": [inner, -fossa, wide - inner, at(-0.05) + fossa],
      "above the pubic bone": [-inner, -brim, 2 * inner, at(-0.05) + brim],
    };
    this.zoneNodes = {};
    for (const [zone, [x, y, width, height]] of Object.entries(rects)) {
      const node = make("g", { role: "button", tabindex: "0", "aria-label": zone, class: "abdomen-zone" },
        make("rect", { x, y, width, height, "clip-path": `url(#${this.clip})` }),
        make("circle", { class: "abdomen-felt", cx: x + width / 2, cy: zone === "fundus" ? y + height / 2 + 1.2 : y + height / 2, r: 1 }));
      const go = () => this.dispatchEvent(new CustomEvent("zone", { detail: { zone } }));
      node.addEventListener("click", go);
      node.addEventListener("keydown", (event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        go();
      });
      node.addEventListener("focus", () => { this.words.textContent = zone; });
      node.addEventListener("pointerenter", () => { this.words.textContent = zone; });
      this.zoneNodes[zone] = node;
      this.svg.append(node);
    }
  }

  /** Which zones the grip in hand is made at, and which have been felt with it. */
  setZones(open, felt) {
    for (const [zone, node] of Object.entries(this.zoneNodes)) {
      node.classList.toggle("here", open.includes(zone));
      node.classList.toggle("felt", felt.includes(zone));
    }
  }

  // -- points ------------------------------------------------------------------------------

  points(label) {
    this.svg.setAttribute("tabindex", "0");
    this.svg.setAttribute("role", "application");
    this.svg.setAttribute("aria-label", `${label}. Arrow keys move the cross by a centimetre, Enter chooses the place.`);
    this.svg.classList.add("abdomen-points");
    this.svg.addEventListener("click", (event) => {
      this.cursor = this.under(event);
      this.choose();
    });
    this.svg.addEventListener("pointermove", (event) => {
      if (event.pointerType === "mouse" || event.buttons) this.move(this.under(event));
    });
    this.svg.addEventListener("pointerdown", (event) => this.move(this.under(event)));
    this.svg.addEventListener("pointerleave", () => this.dispatchEvent(new CustomEvent("away")));
    this.svg.addEventListener("focus", () => this.showCross(this.svg.matches(":focus-visible")));
    this.svg.addEventListener("blur", () => this.showCross(false));
    this.svg.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 5 : 1;
      const move = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
      if (move) {
        this.cursor = {
          x_cm: Math.min(Math.max(Math.round(this.cursor.x_cm) + move[0] * step, -this.m.flank_x_cm), this.m.flank_x_cm),
          y_cm: Math.min(Math.max(Math.round(this.cursor.y_cm) + move[1] * step, this.bottom), this.top),
        };
        this.showCross(true);
        this.words.textContent = placeWords(this.cursor);
        this.move(this.cursor);
      } else if (event.key === "Enter" || event.key === " ") this.choose();
      else return;
      event.preventDefault();
    });
  }

  /** The place on the skin under a pointer. */
  under(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return { x_cm: round(this.along(at.x)), y_cm: round(-at.y) };
  }

  move(place) {
    this.dispatchEvent(new CustomEvent("moving", { detail: place }));
  }

  showCross(wanted) {
    this.cross.setAttribute("visibility", wanted ? "visible" : "hidden");
    this.cross.setAttribute("transform", `translate(${this.seen(this.cursor.x_cm)} ${-this.cursor.y_cm})`);
  }

  choose() {
    this.words.textContent = placeWords(this.cursor);
    this.dispatchEvent(new CustomEvent("point", { detail: { ...this.cursor } }));
  }

  // -- what lies on it -----------------------------------------------------------------------

  setSensors({ heart, contraction }) {
    this.sensors.replaceChildren();
    if (contraction) this.sensors.append(this.sensor(contraction, "contraction", "Contraction sensor", "C"));
    if (heart) this.sensors.append(this.sensor(heart, "heart", "Heart sensor", "H"));
  }

  /** Marks: [{x_cm, y_cm, kind: "heard0".."heard3"|"best", words}]. */
  setMarks(marks) {
    this.marks.replaceChildren(...marks.map(({ x_cm: x, y_cm: y, kind, words }) => {
      const title = make("title");
      title.textContent = words;
      const ring = kind === "best" ? make("path", { d: "M-1.7 0H1.7M0 -1.7V1.7" }) : make("circle", { r: 0.5 });
      return make("g", { class: `abdomen-mark ${kind}`, transform: `translate(${this.seen(x)} ${-y})` }, title, ring,
        ...(kind === "best" ? [make("circle", { r: 2.1 })] : []));
    }));
  }

  sensor({ x_cm: x, y_cm: y }, kind, words, letter) {
    const title = make("title");
    title.textContent = `${words}, ${placeWords({ x_cm: x, y_cm: y })}`;
    const text = make("text", { y: 0.95, "text-anchor": "middle" });
    text.textContent = letter;
    const shape = kind === "heart" ? make("circle", { r: 2.3 }) : make("rect", { x: -2.2, y: -2.2, width: 4.4, height: 4.4, rx: 1 });
    return make("g", { class: `abdomen-sensor ${kind}`, transform: `translate(${this.seen(x)} ${-y})` }, title, shape, text);
  }
}
