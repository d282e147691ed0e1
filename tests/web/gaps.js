async () => {
  const { Strip } = await import("/static/strip/strip.js");
  const link = document.createElement("link");
  link.rel = "stylesheet"; link.href = "/static/strip/strip.css";
  document.head.append(link);
  await new Promise((done) => (link.onload = done));
  const box = document.createElement("div");
  document.body.append(box);
  const samples = new Float32Array(4 * 3600).fill(140);
  samples.fill(NaN, 4 * 1200, 4 * 2400);
  const strip = new Strip(box, {});
  strip.load({ duration_s: 3600, start: null, traces: [{ kind: "heart", fetus: 1, rate_hz: 4, unit: "bpm", samples }] });
  const ink = () => {
    const ctx = strip.canvas.getContext("2d");
    const look = (t) => {
      const x = Math.round((strip.gutter + (t - strip.t0) / strip.spp) * strip.dpr) + 3;
      const y = strip.lanes.heart.top + ((strip.lanes.heart.most - 140) / 160) * strip.lanes.heart.height;
      const data = ctx.getImageData(x, Math.round((y - 3) * strip.dpr), 1, Math.round(6 * strip.dpr)).data;
      for (let i = 0; i < data.length; i += 4) if (data[i] + data[i + 1] + data[i + 2] < 200) return true;
      return false;
    };
    return look;
  };
  const said = [];
  for (const spp of [0.1, 1, 4]) {
    for (const [t, wanted] of [[1100, true], [1800, false], [2500, true]]) {
      strip.goto(t - 200 * spp, spp, false);
      const frame = () => new Promise((done) => requestAnimationFrame(done));
      do await frame(); while (strip.target || strip.glide || strip.pending);
      const at = Math.floor(t / 60) * 60 + 25;
      said.push([spp, t, ink()(at), wanted]);
    }
  }
  return said;
}
