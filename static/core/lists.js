// A list is narrowed in place, rows are picked, and a page for paper is printed. All of it works
// without this script, by whole pages.
const { htmx } = window;

if (htmx) {
  // Back leads to the page as it was, scripts and all.
  htmx.config.refreshOnHistoryMiss = true;
}

// What the list does not understand is said where its rows would be; the form keeps what was typed.
document.addEventListener("htmx:beforeSwap", ({ detail, target }) => {
  if (target.id === "found" && detail.xhr.status >= 400 && detail.xhr.status < 500) {
    detail.shouldSwap = true;
    detail.isError = false;
    detail.selectOverride = ".problems";
    detail.swapOverride = "innerHTML";
  }
});

const boxes = () => [...document.querySelectorAll('[name="pick"][form="acts"]')];

const count = () => {
  const form = document.getElementById("acts");
  if (!form) {
    return;
  }
  const all = form.elements.all;
  const whole = form.querySelector("[data-page] input");
  const picked = boxes().filter((box) => box.checked).length;
  whole.checked = picked > 0 && picked === boxes().length;
  whole.indeterminate = picked > 0 && !whole.checked;
  const output = form.querySelector("[data-picked]");
  output.value = `${all.checked ? all.value : picked} ${output.dataset.says}`;
};

const begin = () => {
  document.querySelector("[data-page]")?.removeAttribute("hidden");
  count();
};

document.addEventListener("change", ({ target }) => {
  if (target.matches("[data-page] input")) {
    for (const box of boxes()) {
      box.checked = target.checked;
    }
  }
  if (target.form?.id === "acts") {
    count();
  }
});
document.addEventListener("htmx:afterSettle", begin);
// A page brought back from memory has its boxes ticked already.
window.addEventListener("pageshow", begin);

const print = document.querySelector("[data-print]");
print?.removeAttribute("hidden");
print?.addEventListener("click", () => window.print());
