// A scanner types a tag and Enter: the next piece's tag is wanted then, not yet the whole form.
const form = document.getElementById("intake");
const tags = form ? [...form.querySelectorAll('input[name^="tag:"]')] : [];

form?.addEventListener("keydown", (event) => {
  const at = tags.indexOf(event.target);
  if (event.key === "Enter" && at >= 0) {
    event.preventDefault();
    const next = tags.slice(at + 1).find((box) => box.checkVisibility());
    (next ?? form.querySelector("button[type=submit]")).focus();
  }
});
