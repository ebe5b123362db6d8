// Prints a label; without scripts the browser's own command does.
const button = document.querySelector("[data-print]");
button.hidden = false;
button.addEventListener("click", () => window.print());
