// Word from the workbench that something changed; while the line is down the page says so and asks
// again by itself.
export function hear(address, changed, link) {
  let source;
  const open = () => {
    source = new EventSource(address);
    source.addEventListener("change", changed);
    source.addEventListener("hello", () => {
      link.hidden = true;
      changed();
    });
    source.addEventListener("error", () => {
      link.hidden = false;
      if (source.readyState === EventSource.CLOSED) setTimeout(open, 3000);
    });
  };
  open();
}
