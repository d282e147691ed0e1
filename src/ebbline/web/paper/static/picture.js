// The picture with lines over it: its size, places on it, what is drawn there.
const SVG = "http://www.w3.org/2000/svg";
const LARGER = 1.5;
const MOST = 3;
const LONG = 2.6;

/** One picture in its scrolling view. Places are px of the picture as it was sent. */
export class Plate {
  constructor(view, plate, image, over) {
    this.view = view;
    this.plate = plate;
    this.image = image;
    this.over = over;
    this.size = null;
    this.scale = 1;
    this.whole = "yes";
    /** Called when the scale has changed. @type {(() => void) | null} */
    this.onscale = null;
    this.layers = {};
    for (const name of ["read", "said", "tool"]) {
      this.layers[name] = over.appendChild(document.createElementNS(SVG, "g"));
      this.layers[name].setAttribute("class", name);
    }
    new ResizeObserver(() => this.size && this.whole === "yes" && this.fit()).observe(view);
  }

  async show({ width, height, href, name }) {
    this.size = { width, height };
    this.over.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.image.alt = `The picture ${name}`;
    this.image.src = href;
    this.fit(width > LONG * height);
    await this.image.decode();
  }

  /** The whole picture; tall: as high as the view, as long strips are best begun with. */
  fit(tall = false) {
    const { clientWidth, clientHeight } = this.view;
    const across = clientWidth / this.size.width;
    const down = (clientHeight - 18) / this.size.height;
    this.whole = tall ? "no" : "yes";
    this.lay(tall ? Math.max(across, Math.min(down, 1)) : Math.min(across, down));
    this.view.scrollTo(0, 0);
  }

  zoom(larger) {
    const { view, scale } = this;
    const middle = [(view.scrollLeft + view.clientWidth / 2) / scale, (view.scrollTop + view.clientHeight / 2) / scale];
    this.whole = "no";
    const least = Math.min(view.clientWidth / this.size.width, view.clientHeight / this.size.height) * 0.9;
    this.lay(Math.min(MOST, Math.max(least, scale * (larger ? LARGER : 1 / LARGER))));
    view.scrollTo(middle[0] * this.scale - view.clientWidth / 2, middle[1] * this.scale - view.clientHeight / 2);
  }

  lay(scale) {
    this.scale = scale;
    this.plate.style.width = `${this.size.width * scale}px`;
    this.plate.style.height = `${this.size.height * scale}px`;
    this.onscale?.();
  }

  /** Where on the picture a pointer is. */
  place(event) {
    const box = this.plate.getBoundingClientRect();
    return this.inside([(event.clientX - box.left) / this.scale, (event.clientY - box.top) / this.scale]);
  }

  /** @param {number[]} place */
  inside([x, y]) {
    const bounded = (value, most) => Math.round(Math.min(Math.max(value, 0), most) * 10) / 10;
    return [bounded(x, this.size.width), bounded(y, this.size.height)];
  }

  /** Move the view so that a place is seen. @param {number[]} place */
  follow([x, y]) {
    const { view, scale } = this;
    const margin = 40;
    const near = (at, from, length) => (at < from + margin ? at - margin : at > from + length - margin ? at + margin - length : from);
    view.scrollTo(near(x * scale, view.scrollLeft, view.clientWidth), near(y * scale, view.scrollTop, view.clientHeight));
  }

  clear(layer) {
    this.layers[layer].replaceChildren();
  }

  add(layer, kind, attributes) {
    const one = document.createElementNS(SVG, kind);
    for (const [name, value] of Object.entries(attributes)) one.setAttribute(name, value);
    this.layers[layer].append(one);
    return one;
  }

  stroke(layer, places, attributes) {
    const points = places.length > 1 ? places : [places[0], [places[0][0] + 0.1, places[0][1]]];
    return this.add(layer, "polyline", { points: points.map((place) => place.join(",")).join(" "), ...attributes });
  }
}

/** The line of a trace as two paths: what is sure, and what was read with doubt. */
export function paths(line, surely) {
  const found = { sure: "", unsure: "" };
  let last = "";
  line.x.forEach((x, n) => {
    if (x === null) {
      last = "";
      return;
    }
    const kind = line.sure[n] > surely ? "sure" : "unsure";
    if (kind !== last && last) found[last] += `L${x} ${line.y[n]}`;
    found[kind] += `${kind === last ? "L" : "M"}${x} ${line.y[n]}`;
    last = kind;
  });
  return found;
}
