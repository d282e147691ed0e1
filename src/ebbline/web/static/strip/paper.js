// True scale: how many pixels make a centimetre on this screen, and what that means for a strip.
const KEY = "ebbline.pixels-per-cm";
const CSS_PIXELS_PER_CM = 96 / 2.54;

export const SPEEDS = [1, 2, 3];
export const SHORTEST_VIEW_S = 60;

/** Pixels per centimetre as measured by the user on this screen, else the browser's own idea. */
export function pixelsPerCm() {
  const kept = Number(localStorage.getItem(`${KEY}.${screen.width}x${screen.height}`));
  return kept >= 15 && kept <= 200 ? kept : CSS_PIXELS_PER_CM;
}

export function isCalibrated() {
  return localStorage.getItem(`${KEY}.${screen.width}x${screen.height}`) !== null;
}

export function keepPixelsPerCm(value) {
  localStorage.setItem(`${KEY}.${screen.width}x${screen.height}`, String(value));
}

/** Beats per minute per centimetre that goes with a paper speed. */
export const bpmPerCm = (speed) => (speed === 3 ? 30 : 20);

/** Distances of grid lines in seconds, [fine, strong], for a given scale. */
const STEPS = [
  [10, 60], [30, 60], [60, 600], [300, 1800], [600, 3600], [1800, 7200], [3600, 21600], [7200, 43200],
];
export function gridSteps(secondsPerPixel) {
  return STEPS.find(([fine, strong]) => fine / secondsPerPixel >= 7 && strong / secondsPerPixel >= 30) || STEPS.at(-1);
}

/** Distance of time labels in seconds. */
export function labelStep(secondsPerPixel) {
  const least = 84 * secondsPerPixel;
  return [10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14400, 21600, 43200].find((s) => s >= least) || 86400;
}

const two = (n) => String(n).padStart(2, "0");

/** Words for a time: of the clock when the start is known (as written, in its own zone), else elapsed. */
export class Clock {
  constructor(startIso) {
    this.known = Boolean(startIso);
    // the wall clock at the place of recording, whatever zone this browser is in
    const wall = startIso ? startIso.slice(0, 19) : null;
    this.start = wall ? Date.parse(`${wall}Z`) / 1000 : 0;
  }

  text(seconds, withSeconds = false) {
    const whole = withSeconds ? Math.round(seconds) : Math.floor(seconds + 0.5);
    if (!this.known) {
      const sign = whole < 0 ? "−" : "";
      const value = Math.abs(whole);
      const rest = `${two(Math.floor(value / 60) % 60)}${withSeconds ? `:${two(value % 60)}` : ""}`;
      return `${sign}${Math.floor(value / 3600)}:${rest}`;
    }
    const at = new Date((this.start + whole) * 1000);
    const hm = `${two(at.getUTCHours())}:${two(at.getUTCMinutes())}`;
    return withSeconds ? `${hm}:${two(at.getUTCSeconds())}` : hm;
  }

  /** Seconds to move by so that labels fall on round minutes of the clock. */
  get offset() {
    return this.known ? this.start % 86400 : 0;
  }
}

/** "1 min 20 s", "45 s", "1 h 05 min". */
export function span(seconds) {
  const s = Math.round(seconds);
  if (s < 60) return `${s} s`;
  if (s < 3600) return s % 60 ? `${Math.floor(s / 60)} min ${two(s % 60)} s` : `${s / 60} min`;
  return `${Math.floor(s / 3600)} h ${two(Math.floor(s / 60) % 60)} min`;
}
