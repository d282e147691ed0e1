// The learner's two hands on the abdomen: they go along with the pointer or the keys, together or
// apart; the wall gives under them by firmness; a part that moves when pushed moves; a kick is felt
// on a phone that can. The words beside it say all of it.
const NS = "http://www.w3.org/2000/svg";
/** @type {[string, number][]} */
const FIRMNESS = [["light", 0.35], ["firm", 0.7], ["deep", 1]];
const HANDS = { look: 0, ask: 0, "first grip": 2, "second grip": 2, "third grip": 1, "fourth grip": 2 };
const APART = { "first grip": 9, "second grip": 20, "third grip": 0, "fourth grip": 8 };
// A left hand from above, fingers up, about 10 by 17 cm; the right one is its mirror.
const HAND = "M-3.6 8 C-4.4 5 -4.6 2 -4.3 -.6 L-4.1 -5.4 Q-4 -6.7 -3.2 -6.6 Q-2.4 -6.5 -2.4 -5.3 L-2.3 -1.4 L-2.2 -7.4 Q-2.1 -8.6 -1.2 -8.6 Q-.4 -8.6 -.4 -7.4 L-.3 -1.5 L-.1 -7.9 Q0 -9 .9 -8.9 Q1.7 -8.8 1.6 -7.6 L1.5 -1.2 L1.9 -6 Q2.1 -7 2.9 -6.9 Q3.6 -6.7 3.5 -5.7 L3.2 0 L4.8 -1.6 Q5.7 -2.3 6.3 -1.7 Q6.9 -1 6.2 0 L3.9 3.4 Q3 5 2.8 8 Z";

const make = (name, attributes) => {
  const node = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
};

export class Hands {
  /** abdomen: with zones; place: where the controls go. */
  constructor(abdomen, place) {
    this.abdomen = abdomen;
    this.at = { x: 0, y: abdomen.m.fundus_y_cm - 6 };
    this.apart = 9;
    this.firm = 1;
    this.grip = "look";
    this.group = make("g", { class: "hands-drawn", "aria-hidden": "true" });
    abdomen.svg.append(this.group);
    this.pairs = [1, -1].map((side) => {
      const dent = make("ellipse", { class: "hand-dent", rx: 4.6, ry: 5.6 });
      const hand = make("path", { class: "hand", d: HAND });
      this.group.append(dent, hand);
      return { side, dent, hand };
    });
    this.controls(place);
    this.pointers = new Map();
    const svg = abdomen.svg;
    svg.addEventListener("pointermove", (event) => this.pointed(event));
    svg.addEventListener("pointerdown", (event) => this.pointed(event));
    for (const over of ["pointerup", "pointercancel", "pointerleave"]) svg.addEventListener(over, (event) => this.pointers.delete(event.pointerId));
    svg.addEventListener("keydown", (event) => this.keyed(event));
    for (const [zone, node] of Object.entries(abdomen.zoneNodes)) node.addEventListener("focus", () => this.goTo(zone));
    this.setGrip(this.grip);
  }

  controls(place) {
    const bar = document.createElement("div");
    bar.className = "row hands-bar";
    bar.setAttribute("role", "group");
    bar.setAttribute("aria-label", "Your hands");
    const button = (words, run) => {
      const one = document.createElement("button");
      one.type = "button";
      one.textContent = words;
      one.addEventListener("click", run);
      bar.append(one);
      return one;
    };
    this.closer = button("Together", () => this.spread(-2));
    this.wider = button("Apart", () => this.spread(2));
    this.firmness = FIRMNESS.map(([words], i) => button(words[0].toUpperCase() + words.slice(1), () => this.press(i)));
    this.words = document.createElement("p");
    this.words.className = "soft hands-words";
    this.words.setAttribute("role", "status");
    place.append(bar, this.words);
    this.bar = bar;
  }

  setGrip(grip) {
    this.grip = grip;
    if (grip in APART) this.apart = APART[grip];
    this.bar.hidden = !HANDS[grip];
    this.draw();
  }

  pointed(event) {
    if (event.type === "pointermove" && event.pointerType !== "mouse" && !event.buttons) return;
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.abdomen.svg.getScreenCTM().inverse());
    if (event.pointerType === "touch") this.pointers.set(event.pointerId, at);
    const two = [...this.pointers.values()];
    if (two.length === 2) {
      this.at = { x: (two[0].x + two[1].x) / 2, y: -(two[0].y + two[1].y) / 2 };
      this.apart = Math.min(26, Math.max(0, Math.hypot(two[0].x - two[1].x, two[0].y - two[1].y)));
    } else this.at = { x: at.x, y: -at.y };
    this.draw();
  }

  keyed(event) {
    if (!HANDS[this.grip]) return;
    const run = { ArrowLeft: () => this.spread(-2), ArrowRight: () => this.spread(2), ArrowUp: () => this.press(Math.min(2, this.firm + 1)), ArrowDown: () => this.press(Math.max(0, this.firm - 1)) }[event.key];
    if (!run) return;
    event.preventDefault();
    run();
  }

  goTo(zone) {
    const box = this.abdomen.zoneNodes[zone].querySelector("rect");
    const n = (name) => Number(box.getAttribute(name));
    this.at = { x: n("x") + n("width") / 2, y: -(n("y") + n("height") / 2) };
    this.draw();
  }

  spread(by) {
    this.apart = Math.min(26, Math.max(0, this.apart + by));
    this.draw();
    this.tell(`Your hands lie ${Math.round(this.apart)} cm apart.`);
  }

  press(firm) {
    this.firm = firm;
    this.draw();
    this.tell(`${FIRMNESS[firm][0][0].toUpperCase()}${FIRMNESS[firm][0].slice(1)} hands.`);
  }

  tell(words) {
    this.words.textContent = words;
  }

  draw() {
    const count = HANDS[this.grip];
    const share = FIRMNESS[this.firm][1];
    const turned = this.grip === "fourth grip";
    for (const { side, dent, hand } of this.pairs) {
      const shown = count === 2 || (count === 1 && side === 1);
      for (const one of [dent, hand]) one.setAttribute("visibility", shown ? "visible" : "hidden");
      if (!shown) continue;
      // In the second grip the one hand lies under the pointer, the other steadies across from it.
      const away = this.at.x < 0 ? 1 : -1;
      const across = this.grip === "second grip" ? (side === -away ? 0 : away * this.apart) : (side * this.apart) / 2;
      const x = this.at.x + (count === 2 ? across : 0);
      const lean = count === 1 ? 0 : turned ? side * 14 : side * -18;
      hand.setAttribute("transform", `translate(${x} ${-this.at.y}) rotate(${turned ? 180 + lean : lean}) scale(${(turned ? -side : side) * -0.62} .62)`);
      dent.setAttribute("transform", `translate(${x} ${-this.at.y}) scale(${0.55 + 0.3 * share})`);
    }
    for (const [i, button] of this.firmness.entries()) button.setAttribute("aria-pressed", String(i === this.firm));
    this.wider.hidden = this.closer.hidden = count < 2;
  }

  /** What the hands met: the wall gives, a part moves, a kick. touch: from the workbench. */
  felt(touch) {
    if (!touch || !HANDS[this.grip]) return;
    const deep = touch.gives_cm * FIRMNESS[this.firm][1];
    const said = [deep < 0.5 ? "The wall does not give." : `The wall gives about ${deep.toFixed(deep < 1.5 ? 1 : 0)} cm.`];
    for (const { dent, hand } of this.pairs) {
      dent.style.setProperty("--deep", String(Math.min(1, deep / 3)));
      for (const one of [dent, hand]) {
        one.classList.remove("pressing");
        one.getBoundingClientRect();
        one.classList.add("pressing");
      }
    }
    if (touch.moves && this.firm > 0) {
      said.push("What lies under them moves when you push, and comes back.");
      this.show("hand-moves");
    } else if (touch.moves) said.push("Press firmer to feel whether it moves.");
    if (touch.kicks) {
      said.push("A kick, under your hand.");
      navigator.vibrate?.([45, 70, 30]);
      this.show("hand-kick");
    }
    this.tell(said.join(" "));
  }

  show(kind) {
    const sign = make("circle", { class: kind, r: 2.2, cx: this.at.x, cy: -this.at.y });
    this.group.append(sign);
    setTimeout(() => sign.remove(), 1200);
  }
}
