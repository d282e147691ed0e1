async () => {
  const { Pyramid } = await import("/static/strip/pyramid.js");
  let seed = 7;
  const random = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
  const n = 20011;
  const samples = Float32Array.from({ length: n }, () => (random() < 0.1 ? NaN : 140 + 20 * random()));
  samples.fill(NaN, 5000, 6100);
  samples[777] = 219; samples[12345] = 51;
  const pyramid = new Pyramid(samples);
  const wrong = [];
  for (let trial = 0; trial < 3000; trial += 1) {
    const first = Math.floor(random() * n);
    const last = Math.min(first + 1 + Math.floor(random() ** 3 * n), n);
    let least = Infinity, most = -Infinity, good = 0;
    for (let i = first; i < last; i += 1) if (samples[i] === samples[i]) {
      least = Math.min(least, samples[i]); most = Math.max(most, samples[i]); good += 1;
    }
    pyramid.stretch(first, last);
    if (good && !(pyramid.low <= least && pyramid.high >= most)) wrong.push([first, last]);
    pyramid.stretch(first, last, true);
    if (good ? pyramid.low !== least || pyramid.high !== most || pyramid.valid !== good : pyramid.valid !== 0) wrong.push([first, last, "fine"]);
  }
  return wrong;
}
