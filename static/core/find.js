// The key "/" leads to the find field, unless one is writing somewhere.
const field = document.getElementById("find");

document.addEventListener("keydown", (event) => {
  const writing = event.target.closest?.("input, select, textarea, [contenteditable]");
  const plain = !event.ctrlKey && !event.metaKey && !event.altKey;
  if (field && event.key === "/" && plain && !writing) {
    event.preventDefault();
    field.focus();
    field.select();
  }
});
