// The sheet of a visit or a dive: a draft on the phone until it is sent, how far one is, and on to the next.
const form = document.getElementById("sheet");
const kept = document.getElementById("kept");
const key = form.dataset.draft;
const HEADER = ["when", "done_by", "note", "fixing", "cluster", "return_to"].filter(
  (name) => form.elements[name],
);
const MARK = /^(seen|cause|count|did|at):/;

function stored() {
  try {
    return JSON.parse(localStorage.getItem(key)) ?? {};
  } catch {
    return {};
  }
}

const draft = { marks: {}, header: {}, ...stored() };
// A refusal for a uid that is taken comes with a new one.
if (draft.uid && !("anew" in form.dataset)) {
  form.elements.uid.value = draft.uid;
}

function save() {
  draft.uid = form.elements.uid.value;
  draft.site = form.dataset.site;
  draft.at = location.pathname + location.search;
  for (const name of HEADER) {
    draft.header[name] = form.elements[name].value;
  }
  if (Object.keys(draft.marks).length === 0) {
    localStorage.removeItem(key);
    return;
  }
  try {
    localStorage.setItem(key, JSON.stringify(draft));
  } catch {
    // A phone without room, or a private window: what is ticked stays on the page.
  }
}

function put(name, value) {
  const box = form.elements[name];
  if (box && "value" in box) {
    box.value = value;
  }
  return Boolean(box);
}

const groups = [...form.querySelectorAll(".one-of")];

// A row has its list of causes only once it is dead: hundreds of lists would make the page heavy.
const causes = document.getElementById("causes");

function offer(group) {
  const list = group.querySelector("select");
  if (list.length < causes.content.childElementCount) {
    const chosen = list.value;
    list.replaceChildren(causes.content.cloneNode(true));
    list.value = chosen || list.options[0].value;
  }
}

function tell() {
  const done = groups.filter((group) => group.querySelector(".pick input:checked")?.value).length;
  for (const group of groups) {
    if (group.querySelector("input[value=dead]").checked) {
      offer(group);
    }
  }
  const line = document.getElementById("progress");
  line.textContent = line.dataset.words.replace("%n", done).replace("%m", groups.length);
}

function mark(box) {
  if (!MARK.test(box.name)) {
    return;
  }
  if (box.value) {
    draft.marks[box.name] = box.value;
  } else {
    delete draft.marks[box.name];
  }
  if (box.name.startsWith("cause:")) {
    const code = box.name.slice("cause:".length);
    if ((draft.marks[`seen:${code}`] ?? draft.marks[`did:${code}`]) !== "dead") {
      delete draft.marks[box.name];
    }
  }
}

// What the server sent back with a refusal is what was ticked last; the draft fills in the rest.
for (const box of form.querySelectorAll("input[type=radio]:checked, .counted input")) {
  if (box.value) {
    mark(box);
  }
}
const before = Object.keys(stored().marks ?? {}).length;
for (const [name, value] of Object.entries(draft.marks)) {
  if (name.startsWith("cause:") && form.elements[name]) {
    offer(form.elements[name].closest(".one-of"));
  }
  put(name, value);
}
for (const [name, value] of Object.entries(draft.header)) {
  put(name, value);
}
if (before > 0) {
  kept.textContent = kept.dataset.kept.replace("%n", before);
  kept.hidden = false;
}
tell();

function next(group) {
  const after = groups.slice(groups.indexOf(group) + 1);
  const free = after.find((one) => !one.querySelector(".pick input:checked")?.value);
  free?.scrollIntoView({ block: "center" });
}

// Only a press leads on: the arrow keys choose one word after the other within a row.
let pressed = false;
document.addEventListener("pointerdown", () => {
  pressed = true;
});
document.addEventListener("keydown", () => {
  pressed = false;
});

form.addEventListener("input", (event) => {
  const box = event.target;
  mark(box);
  save();
  tell();
  if (pressed && box.type === "radio" && MARK.test(box.name) && box.value && box.value !== "dead") {
    next(box.closest(".one-of"));
  }
});

for (const button of form.querySelectorAll("[data-rest]")) {
  button.hidden = false;
  button.addEventListener("click", () => {
    for (const group of button.closest(".cluster").querySelectorAll(".one-of")) {
      if (!group.querySelector(".pick input:checked")?.value) {
        const word = group.querySelector(`input[value=${button.dataset.rest}]`);
        word.checked = true;
        mark(word);
      }
    }
    save();
    tell();
  });
}

// A scanner types a tag and Enter.
const tag = document.getElementById("tag");
document.getElementById("tag-field").hidden = groups.length === 0;
tag.addEventListener("keydown", (event) => {
  if (event.key !== "Enter") {
    return;
  }
  event.preventDefault();
  const wanted = tag.value.trim().toUpperCase();
  const group = groups.find((one) => one.dataset.names.toUpperCase().split(" ").includes(wanted));
  const says = document.getElementById("tag-says");
  says.textContent = group || !wanted ? "" : says.dataset.no.replace("%s", wanted);
  if (group) {
    tag.value = "";
    group.scrollIntoView({ block: "center" });
    const marked = group.querySelector(".pick input:checked:not([value=''])");
    (marked ?? group.querySelector(".pick input")).focus();
  }
});

form.addEventListener("submit", (event) => {
  save();
  if (navigator.onLine === false) {
    event.preventDefault();
    event.stopPropagation();
    kept.textContent = kept.dataset.offline;
    kept.hidden = false;
    kept.scrollIntoView({ block: "center" });
    return;
  }
  for (const old of form.querySelectorAll("input[data-elsewhere]")) {
    old.remove();
  }
  // What was ticked on the sheets of other plots belongs to the same visit.
  for (const [name, value] of Object.entries(draft.marks)) {
    if (!form.elements[name]) {
      const also = document.createElement("input");
      also.type = "hidden";
      also.name = name;
      also.value = value;
      also.dataset.elsewhere = "";
      form.append(also);
    }
  }
});
