// The library's filter: by words, difficulty and what a case asks for.
const find = document.getElementById("find");
const difficulty = document.getElementById("difficulty");
const asks = document.getElementById("asks");
const found = document.getElementById("found");
const cards = [...document.querySelectorAll("#library > li")];

function filter() {
  const words = find.value.trim().toLowerCase();
  let shown = 0;
  for (const card of cards) {
    const fits = (!words || card.textContent.toLowerCase().includes(words))
      && (!difficulty.value || card.dataset.difficulty === difficulty.value)
      && (!asks.value || card.dataset.asks.split(" ").includes(asks.value));
    card.hidden = !fits;
    shown += fits;
  }
  found.textContent = `${shown} case${shown === 1 ? "" : "s"}`;
}

for (const field of [find, difficulty, asks]) field.addEventListener("input", filter);
