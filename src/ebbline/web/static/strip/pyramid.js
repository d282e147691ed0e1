// Lowest and highest of any stretch of a long signal, quickly and never too narrow: every level
// keeps the extremes of blocks of the level below, so no single beat can be hidden by zooming out.
const FACTOR = 4;

export class Pyramid {
  /** samples: Float32Array, NaN where missing. */
  constructor(samples) {
    this.samples = samples;
    this.levels = [];
    let low = samples;
    let high = samples;
    let valid = null;
    while (low.length > FACTOR) {
      const count = Math.ceil(low.length / FACTOR);
      const nextLow = new Float32Array(count);
      const nextHigh = new Float32Array(count);
      const nextValid = new Uint32Array(count);
      for (let block = 0; block < count; block += 1) {
        let least = Infinity;
        let most = -Infinity;
        let good = 0;
        const end = Math.min((block + 1) * FACTOR, low.length);
        for (let i = block * FACTOR; i < end; i += 1) {
          if (low[i] <= high[i]) {
            if (low[i] < least) least = low[i];
            if (high[i] > most) most = high[i];
            good += valid ? valid[i] : 1;
          }
        }
        nextLow[block] = good ? least : NaN;
        nextHigh[block] = good ? most : NaN;
        nextValid[block] = good;
      }
      this.levels.push({ size: FACTOR ** (this.levels.length + 1), low: nextLow, high: nextHigh, valid: nextValid });
      low = nextLow;
      high = nextHigh;
      valid = nextValid;
    }
    this.low = NaN;
    this.high = NaN;
    this.valid = 0;
  }

  /**
   * Sets low, high and valid (count) for samples first..last-1. With `fine` the answer is exact;
   * else it may reach into the neighbouring half pixel, never less than asked.
   */
  stretch(first, last, fine = false) {
    const from = Math.max(first, 0);
    const to = Math.min(last, this.samples.length);
    const wanted = to - from;
    let level = -1;
    if (!fine) {
      while (level + 1 < this.levels.length && this.levels[level + 1].size * 2 <= wanted) level += 1;
    }
    let least = Infinity;
    let most = -Infinity;
    let good = 0;
    if (level < 0) {
      for (let i = from; i < to; i += 1) {
        const value = this.samples[i];
        if (value === value) {
          if (value < least) least = value;
          if (value > most) most = value;
          good += 1;
        }
      }
    } else {
      const { size, low, high, valid } = this.levels[level];
      const end = Math.min(Math.ceil(to / size), low.length);
      for (let block = Math.floor(from / size); block < end; block += 1) {
        if (valid[block]) {
          if (low[block] < least) least = low[block];
          if (high[block] > most) most = high[block];
          good += valid[block];
        }
      }
    }
    this.valid = good;
    this.low = good ? least : NaN;
    this.high = good ? most : NaN;
    return good > 0;
  }
}
