// Names the cell that is pointed at or stepped to, in one line that stays where it is.
const line = document.querySelector("[data-named]");
const usual = line?.textContent ?? "";

function name(event) {
  const spot = event.target.closest?.(".spot");
  if (line) {
    line.textContent = spot ? spot.dataset.says : usual;
  }
}

for (const kind of ["pointerover", "focusin"]) {
  document.querySelector(".plate")?.addEventListener(kind, name);
}
