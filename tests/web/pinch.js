() => {
  const c = document.querySelector("#strip canvas");
  const box = c.getBoundingClientRect();
  c.setPointerCapture = () => {};
  const send = (type, id, x) => c.dispatchEvent(new PointerEvent(type, { pointerId: id, pointerType: "touch", button: 0, clientX: box.left + x, clientY: box.top + 200, bubbles: true }));
  send("pointerdown", 1, 300); send("pointerdown", 2, 400);
  send("pointermove", 1, 250); send("pointermove", 2, 450);
  send("pointerup", 1, 250); send("pointerup", 2, 450);
}
