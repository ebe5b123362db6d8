// What every page does: "/" leads to the find field, a look is taken at once, a form is sent once.
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

const looks = document.querySelector(".looks");
looks?.addEventListener("change", () => looks.requestSubmit());
looks?.querySelector("button")?.setAttribute("hidden", "");

// A second press on the same form waits for the first. A page brought back from memory begins anew.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") {
    return;
  }
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  form.setAttribute("aria-busy", "true");
});
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    form.removeAttribute("aria-busy");
  }
});

// Where scanners type, a tag and Enter, the field takes the focus again.
document.querySelector("[data-scan]")?.focus();
