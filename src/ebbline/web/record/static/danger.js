// Buttons of the danger block lead to the record, where the sheets are.
document.addEventListener("click", (event) => {
  const opener = event.target.closest(".dangers [data-open]");
  if (opener) location.href = location.pathname.replace(/\/(chart|listen|handover)$/, "") + `#write-${opener.dataset.open}`;
});
