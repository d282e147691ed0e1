// The split of a class's answers: each round a bar for every option, in words and numbers too.
export function drawSplits(place, splits) {
  if (!splits.length) {
    place.replaceChildren();
    return;
  }
  const table = document.createElement("table");
  table.className = "splits";
  const head = table.createTHead().insertRow();
  for (const words of ["Answer", ...splits.map((_, i) => (splits.length === 1 ? "Of the class" : i === 0 ? "First" : i === 1 ? "After talking" : `Time ${i + 1}`))]) {
    const th = document.createElement("th");
    th.scope = "col";
    th.textContent = words;
    head.append(th);
  }
  const body = table.createTBody();
  splits[0].forEach((one, row) => {
    const tr = body.insertRow();
    if (one.right) tr.className = "right";
    const th = document.createElement("th");
    th.scope = "row";
    th.textContent = one.right ? `✓ ${one.option}` : one.option;
    tr.append(th);
    for (const round of splits) {
      const { count, share, option } = round[row];
      const bar = document.createElement("meter");
      bar.max = 1;
      bar.value = share;
      bar.setAttribute("aria-label", option);
      const words = document.createElement("span");
      words.textContent = `${count} (${Math.round(100 * share)} %)`;
      tr.insertCell().append(bar, words);
    }
  });
  place.replaceChildren(table);
}

export function drawTruth(place, truth) {
  place.hidden = !truth;
  if (!truth) return;
  const line = (name, words) => {
    const p = document.createElement("p");
    const b = document.createElement("strong");
    b.textContent = `${name} `;
    p.append(b, words);
    return p;
  };
  const lines = [line("The truth:", truth.right.join(" or "))];
  if (truth.rule.length) lines.push(line("The rule:", truth.rule.join(" ")));
  if (truth.panel) lines.push(line("A panel:", truth.panel));
  if (truth.both) lines.push(line("Talking it over:", `of ${truth.both} who answered both times ${truth.to_right} came to a right answer, ${truth.from_right} left one.`));
  if (truth.afterword) lines.push(line("Mind:", truth.afterword));
  place.replaceChildren(...lines);
}
