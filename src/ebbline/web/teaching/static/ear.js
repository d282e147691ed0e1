// What is heard: made here, beat by beat, from volumes and rates. Nothing needs it to be understood:
// words and a light that beats along stand beside it.
//
//   const ear = new Ear((loud) => flash(loud)); ear.hear(found); ear.sound(true); ear.hush();
const AHEAD_MS = 120;
const STEP_MS = 40;

/** Whether a source is loud enough, and beats at all. */
export const heard = (one) => one.volume >= 0.02 && one.bpm > 20;

/** Seconds from a source's beat to its next; of an uneven one the third in five comes early. */
export function interval(one) {
  const early = one.uneven && one.count % 5 === 3;
  const pause = one.uneven && one.count % 5 === 4;
  return (60 / one.bpm) * (early ? 0.6 : pause ? 1.4 : 1);
}

export class Ear {
  /** @param {(volume: number) => void} onbeat told at each beat of the heart */
  constructor(onbeat = () => {}) {
    this.onbeat = onbeat;
    this.sources = [];
    this.audible = false;
  }

  /** found: as the workbench's /ear tells it. */
  hear(found) {
    const wanted = [
      ...found.hearts.map((one, i) => ({ key: `heart${i}`, kind: "heart", ...one })),
      { key: "mother", kind: "mother", volume: found.mother, bpm: found.mother_bpm },
      { key: "placenta", kind: "placenta", volume: found.placenta, bpm: found.mother_bpm },
      { key: "cord", kind: "cord", volume: found.cord, bpm: found.hearts[0].bpm },
    ];
    this.sources = wanted.map((one) => ({ next: 0, count: 0, ...this.sources.find((old) => old.key === one.key), ...one }));
    this.timer ??= setInterval(() => this.tick(), STEP_MS);
  }

  hush() {
    clearInterval(this.timer);
    this.timer = undefined;
    this.sources = [];
  }

  /** Sound on or off; the first time must follow a press of the learner's. */
  sound(on) {
    this.audible = on;
    if (!on) return;
    if (!this.context) this.wire(new AudioContext());
    this.context.resume();
  }

  /** Where the sounds go: an AudioContext, or an OfflineAudioContext that renders them. */
  wire(context) {
    this.context = context;
    this.out = context.createGain();
    this.out.gain.value = 0.8;
    this.out.connect(context.destination);
    const rate = context.sampleRate;
    this.noise = context.createBuffer(1, rate, rate);
    const data = this.noise.getChannelData(0);
    for (let i = 0; i < data.length; i += 1) data[i] = Math.random() * 2 - 1;
  }

  tick() {
    const now = performance.now();
    for (const one of this.sources) {
      if (!heard(one)) continue;
      if (one.next < now - 1000) one.next = now;
      while (one.next < now + AHEAD_MS) {
        this.beat(one, Math.max(0, one.next - now) / 1000);
        one.count += 1;
        one.next += 1000 * interval(one);
      }
    }
  }

  beat(one, after) {
    if (one.kind === "heart") setTimeout(() => this.onbeat(one.volume), after * 1000);
    if (!this.audible || this.context?.state !== "running") return;
    this.sounded(one, this.context.currentTime + after);
  }

  /** One beat of a source at a time of the context, seconds. */
  sounded(one, at) {
    const length = 60 / one.bpm;
    if (one.kind === "heart") {
      this.puff(at, 0.07, 230, 2.2, one.volume);
      this.puff(at + 0.34 * length, 0.05, 330, 2.6, 0.55 * one.volume);
    } else if (one.kind === "mother") this.puff(at, 0.26, 130, 1.2, one.volume);
    else if (one.kind === "placenta") this.puff(at, 0.62 * length, 380, 0.7, 0.7 * one.volume);
    else this.puff(at, 0.5 * length, 760, 1.4, 0.5 * one.volume);
  }

  /** A puff of filtered noise: rises at once, falls away over its length. */
  puff(at, length, hertz, narrow, volume) {
    const source = this.context.createBufferSource();
    source.buffer = this.noise;
    source.loop = true;
    const filter = this.context.createBiquadFilter();
    filter.type = "bandpass";
    filter.frequency.value = hertz;
    filter.Q.value = narrow;
    const gain = this.context.createGain();
    gain.gain.setValueAtTime(0.0001, at);
    gain.gain.exponentialRampToValueAtTime(Math.max(0.0002, volume * 1.6), at + Math.min(0.02, length / 4));
    gain.gain.exponentialRampToValueAtTime(0.0001, at + length);
    source.connect(filter).connect(gain).connect(this.out);
    source.start(at, Math.random());
    source.stop(at + length + 0.02);
  }
}
