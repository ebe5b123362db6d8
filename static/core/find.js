// Offers, while somebody types in the find field, what it may become. Arrows choose, Enter goes
// there; without a choice Enter finds, as without this script. A scanner's Enter is never waited on.
const WAIT = 200;
const LEAST = 2;

const field = document.getElementById("find");
const form = field?.form;

if (form?.dataset.near) {
  let list = null;
  let says = null;
  let timer = 0;
  let asking = null;

  const options = () => [...(list?.children ?? [])];
  const chosen = () => options().find((each) => each.getAttribute("aria-selected") === "true");

  // The list is made when it is first needed: a page that nobody searches from has no empty one.
  const build = () => {
    list = document.createElement("ul");
    list.id = "find-near";
    list.className = "find-near";
    list.setAttribute("role", "listbox");
    list.setAttribute("aria-label", form.dataset.nearSays);
    list.hidden = true;
    says = document.createElement("p");
    says.className = "out-of-sight";
    says.setAttribute("aria-live", "polite");
    form.append(list, says);
    // The field keeps the focus, so that a press on the list is not a way out of it.
    list.addEventListener("pointerdown", (event) => event.preventDefault());
    list.addEventListener("click", (event) => go(event.target.closest("[role=option]")));
  };

  const close = () => {
    clearTimeout(timer);
    asking?.abort();
    if (list) {
      list.hidden = true;
      list.replaceChildren();
    }
    field.setAttribute("aria-expanded", "false");
    field.removeAttribute("aria-activedescendant");
  };

  const go = (option) => {
    if (option) {
      location.assign(option.dataset.href);
    }
  };

  const show = (html) => {
    if (!list) {
      build();
    }
    list.innerHTML = html;
    const found = options();
    list.hidden = found.length === 0;
    says.textContent = found.length ? `${form.dataset.nearSays}: ${found.length}` : "";
    field.setAttribute("aria-expanded", String(found.length > 0));
    field.setAttribute("aria-controls", list.id);
    field.removeAttribute("aria-activedescendant");
  };

  const ask = async () => {
    asking?.abort();
    asking = new AbortController();
    const address = `${form.dataset.near}?${new URLSearchParams({ q: field.value.trim() })}`;
    try {
      const answer = await fetch(address, { signal: asking.signal, redirect: "error" });
      if (answer.ok) {
        show(await answer.text());
      }
    } catch {
      // No signal, or something newer was asked: the field still finds by Enter.
    }
  };

  // One before the first and one after the last is the field itself.
  const choose = (step) => {
    const found = options();
    const places = found.length + 1;
    const next = (found.indexOf(chosen()) + 1 + step + places) % places;
    for (const [place, option] of found.entries()) {
      option.setAttribute("aria-selected", String(place + 1 === next));
    }
    if (next) {
      field.setAttribute("aria-activedescendant", found[next - 1].id);
      found[next - 1].scrollIntoView({ block: "nearest" });
    } else {
      field.removeAttribute("aria-activedescendant");
    }
  };

  field.setAttribute("role", "combobox");
  field.setAttribute("aria-autocomplete", "list");
  field.setAttribute("aria-expanded", "false");

  field.addEventListener("input", () => {
    clearTimeout(timer);
    if (field.value.trim().length < LEAST) {
      close();
      return;
    }
    timer = setTimeout(ask, WAIT);
  });
  field.addEventListener("keydown", (event) => {
    if (event.isComposing) {
      return;
    }
    if (event.key === "Escape" && list && !list.hidden) {
      event.preventDefault();
      close();
    } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && options().length) {
      event.preventDefault();
      choose(event.key === "ArrowDown" ? 1 : -1);
    } else if (event.key === "Enter" && chosen()) {
      event.preventDefault();
      go(chosen());
    }
  });
  field.addEventListener("blur", close);
  form.addEventListener("submit", close);
}
