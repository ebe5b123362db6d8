// The page of a plate: naming and picking cells, and one act at a time with what is picked.
import { CutForm } from "./cut.js";
import { Plate, Preview, fit, lookOf, say } from "./grid.js";
import { Moving } from "./moving.js";
import { Picking } from "./picking.js";
import { Placing } from "./placing.js";

const data = JSON.parse(document.getElementById("plate-data").textContent);
const plate = new Plate(data);
const bench = document.querySelector("[data-bench]");
const table = bench.querySelector("table.plate");
const line = bench.querySelector("[data-named]");
const strip = bench.querySelector("[data-strip]");
const preview = new Preview();
const CAUSE = "plate-cause";

fit(table, plate);
window.addEventListener("resize", () => fit(table, plate));

// Naming

function age(days) {
  return days < 21 ? say("day_short", { n: days }) : say("week_short", { n: Math.floor(days / 7) });
}

function naming(cell) {
  if (cell.held) {
    return `${cell.name}: ${cell.held.code} (${cell.held.kind})`;
  }
  if (!cell.ramet) {
    return `${cell.name}: ${say("free")}`;
  }
  const { code, genet, state, days, size } = cell.ramet;
  const mark = plate.genets[genet];
  const old = days < 21 ? say("days", { n: days }) : say("weeks", { n: Math.floor(days / 7) });
  const parts = [code, mark ? `${mark.label} ${mark.name}`.trim() : say("no_genet")];
  parts.push(data.states[state], old, size ? `${size} cm` : "");
  return `${cell.name}: ${parts.filter(Boolean).join(" · ")}`;
}

function named(cell) {
  line.textContent = naming(cell);
  cell.td.setAttribute("aria-label", line.textContent);
}

// Picking

const picking = new Picking(table, plate, { changed: () => refresh(), named });

const ramets = (cells) => cells.filter((cell) => cell.ramet);
const living = (cells) => cells.filter((cell) => cell.ramet?.living);
const free = (cells) => cells.filter((cell) => cell.free);

bench.querySelector("[data-range]").hidden = false;
bench.querySelector("[data-shown]").hidden = false;

bench.addEventListener("click", (event) => {
  const chip = event.target.closest("[data-genet], [data-state]");
  if (!chip) {
    return;
  }
  const { genet, state } = chip.dataset;
  const cells = plate.cells.filter((cell) =>
    genet === undefined
      ? state === "f"
        ? cell.free
        : cell.ramet?.state === state
      : cell.ramet?.living && cell.ramet.genet === Number(genet),
  );
  if (cells.length) {
    picking.toggle(cells);
    picking.focus(cells[0]);
  }
});

bench.querySelector("[data-range]").addEventListener("submit", (event) => {
  event.preventDefault();
  const field = event.target.querySelector("input");
  const fault = event.target.querySelector(".fault");
  fault.textContent = "";
  try {
    const cells = plate.named(field.value);
    if (cells.length) {
      picking.set(new Set([...picking.on, ...cells.map((cell) => cell.index)]));
      picking.focus(cells[0]);
      field.value = "";
    }
  } catch (error) {
    fault.textContent = error.message;
  }
});

bench.querySelector("[data-ages]").addEventListener("click", (event) => {
  const ages = event.target.getAttribute("aria-pressed") !== "true";
  event.target.setAttribute("aria-pressed", String(ages));
  stop();
  for (const cell of living(plate.cells)) {
    const { genet, days } = cell.ramet;
    cell.td.querySelector("b").textContent = ages ? age(days) : plate.label(genet);
  }
});

// Acts

const cutForm = strip && new CutForm(document.querySelector("[data-cut]"), { plate, stopped: stop });
const form = strip?.querySelector("[data-form]");
const says = strip?.querySelector("[data-says]");
const go = strip?.querySelector("[data-go]");
const target = strip?.querySelector("[data-target]");
const moving = strip && new Moving(form, target, plate, preview);
const placing = strip && new Placing(form, preview);
let act = "";

function fits(name, cells) {
  const some = {
    move: living(cells),
    end: living(cells),
    cut: cells,
    place: free(cells),
  };
  return (some[name] ?? ramets(cells)).length > 0;
}

function refresh() {
  const cells = picking.cells;
  if (!strip) {
    return;
  }
  strip.hidden = cells.length === 0;
  document.body.classList.toggle("has-strip", cells.length > 0);
  const n = cells.length === 1 ? say("cell") : say("cells", { n: cells.length });
  const some = ramets(cells).length;
  strip.querySelector("[data-count]").textContent =
    some && some < cells.length ? `${n}, ${say("with_ramets", { n: some })}` : n;
  for (const button of strip.querySelectorAll("[data-act]")) {
    button.hidden = !fits(button.dataset.act, cells);
  }
  const open = strip.querySelector("[data-open]");
  const [only] = cells;
  const thing = cells.length === 1 && (only.held ?? only.ramet);
  open.hidden = !thing;
  if (thing) {
    open.href = only.held ? `/structures/${thing.code}/` : `/ramets/${thing.code}/`;
    open.querySelector("[data-thing]").textContent = thing.code;
  }
  if (act && !fits(act, cells)) {
    stop();
  } else if (act) {
    look();
  }
}

function stop() {
  act = "";
  preview.clear();
  if (strip) {
    form.hidden = true;
    target.hidden = true;
    cutForm.close();
    mark();
  }
}

function mark() {
  for (const button of strip.querySelectorAll("[data-act]")) {
    button.setAttribute("aria-pressed", String(button.dataset.act === act));
  }
}

/** Open one act: its fields, how the grid would look, and the button that does it. */
function start(name) {
  if (!fits(name, picking.cells)) {
    return;
  }
  stop();
  act = name;
  mark();
  if (act === "cut") {
    cutForm.open(living(picking.cells), free(picking.cells));
    return;
  }
  form.hidden = false;
  says.textContent = "";
  placing.placed = [];
  for (const part of form.querySelectorAll("fieldset")) {
    const mine = part.dataset.for.split(" ").includes(act);
    part.hidden = !mine;
    part.disabled = !mine;
  }
  const others = living(plate.cells).filter((cell) => !picking.on.has(cell.index));
  const rest = form.querySelector("[data-rest]");
  rest.checked = false;
  rest.closest("fieldset").hidden ||= others.length === 0;
  look();
  const field = { move: "#act-to", place: "[data-tag]" }[act];
  (field ? form.querySelector(field) : go).focus({ preventScroll: true });
  if (act === "move" && form.querySelector("#act-to").value) {
    aim();
  }
}

async function aim() {
  await moving.aim();
  if (act === "move") {
    look();
  }
}

function look() {
  const cells = picking.cells;
  const some = act === "move" || act === "end" ? living(cells) : ramets(cells);
  const states = { attached: "a", loose: "l", dead: "d", missing: "m", end: "e" };
  let sentence = say(`go_${act}`, { n: act === "place" ? placing.placed.length : some.length });
  const rest = restCells();
  const others = living(plate.cells).filter((cell) => !picking.on.has(cell.index)).length;
  form.querySelector("[data-rest-says]").textContent = say("other_rest", { n: others });
  if (rest.length) {
    sentence = say("and_rest", { go: sentence, n: rest.length });
  }
  go.textContent = sentence;
  if (states[act]) {
    const looks = some.map((cell) => [cell, lookOf(plate, cell, states[act])]);
    preview.show([...looks, ...rest.map((cell) => [cell, lookOf(plate, cell, "a")])]);
  } else if (act === "move") {
    moving.look(some);
  } else {
    placing.look(free(cells));
  }
}

function restCells() {
  const box = form.querySelector("[data-rest]");
  const fieldset = box.closest("fieldset");
  const wanted = box.checked && !fieldset.hidden && !fieldset.disabled;
  return wanted ? living(plate.cells).filter((cell) => !picking.on.has(cell.index)) : [];
}

if (strip) {
  strip.addEventListener("click", (event) => {
    const button = event.target.closest("[data-act]");
    if (button) {
      start(button.dataset.act);
    } else if (event.target.closest("[data-stop]")) {
      stop();
      picking.focus(picking.focused);
    }
  });

  const cause = form.querySelector("[name=cause]");
  const kept = localStorage.getItem(CAUSE);
  if (kept && [...cause.options].some((option) => option.value === kept) && !data.act) {
    cause.value = kept;
  }

  form.addEventListener("change", (event) => {
    const { target: field } = event;
    if (field.name === "cause") {
      localStorage.setItem(CAUSE, field.value);
    } else if (field.matches("[data-waiting]") && field.value) {
      placing.putAll(field.value, free(picking.cells));
      look();
    } else if (field.matches("[data-rest], [data-first]")) {
      look();
    } else if (field.name === "to") {
      aim();
    } else if (field.name === "when") {
      form.querySelector("[data-when-says]").textContent = field.value;
    }
  });
  form.querySelector("[data-waiting]").addEventListener("focus", () => placing.offer());
  form.querySelector("[name=fate]").addEventListener("change", recipient);
  recipient();

  // Enter in the tag field is the scanner's; in the field of a structure it shows before it moves.
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") {
      return;
    }
    if (event.target.matches("[data-tag]") && event.target.value.trim()) {
      event.preventDefault();
      placing.scan(event.target, free(picking.cells)).then(look);
    } else if (event.target.name === "to" && moving.code !== moving.to?.code) {
      event.preventDefault();
      aim().then(() => moving.to && go.focus());
    }
  });

  strip.addEventListener("submit", () => {
    const cells = picking.cells;
    const some = act === "move" || act === "end" ? living(cells) : ramets(cells);
    const pair = (cell) => `${cell.name}=${cell.ramet?.code ?? ""}`;
    strip.elements.act.value = act;
    const sent = act === "place" ? free(cells).map((cell) => `${cell.name}=`) : some.map(pair);
    strip.elements.picked.value = sent.join(",");
    strip.elements.rest.value = restCells().map(pair).join(",");
    strip.elements.spots.value = act === "move" ? moving.spots.join(",") : "";
    strip.elements.placed.value = act === "place" ? placing.pairs(free(cells)).join(",") : "";
  });
}

function recipient() {
  const handed = form.querySelector("[name=fate]").value === "handed_over";
  for (const part of form.querySelectorAll("[data-recipient]")) {
    part.hidden = !handed;
    part.disabled = !handed;
  }
}

// Letters do what stands on the buttons, while the grid or the strip is in use.
const KEYS = Object.fromEntries(
  [...bench.querySelectorAll("[data-act]")].map((button) => [
    button.getAttribute("aria-keyshortcuts").toLowerCase(),
    button.dataset.act,
  ]),
);

bench.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    event.preventDefault();
    if (act) {
      stop();
    } else {
      picking.set(new Set());
    }
    picking.focus(picking.focused);
    return;
  }
  const writing = event.target.matches("input:not([type=checkbox]), select, textarea");
  if (writing || event.ctrlKey || event.metaKey || event.altKey) {
    return;
  }
  if (strip && KEYS[event.key.toLowerCase()] && picking.on.size) {
    event.preventDefault();
    start(KEYS[event.key.toLowerCase()]);
  } else if (event.key.toLowerCase() === "o") {
    const thing = event.target.cell?.held ?? event.target.cell?.ramet;
    if (thing) {
      location.assign(`/${event.target.cell.held ? "structures" : "ramets"}/${thing.code}/`);
    }
  } else if (event.key === "Enter" && event.target.cell) {
    event.preventDefault();
    if (act && act !== "cut") {
      strip.requestSubmit(go);
    } else {
      picking.toggle([event.target.cell]);
    }
  }
});

// After a refusal the same cells are picked again, and the act is open.
if (data.picked) {
  const cells = data.picked.split(",").map((part) => plate.byName.get(part.split("=")[0]));
  picking.set(new Set(cells.filter(Boolean).map((cell) => cell.index)));
  start(data.act);
}
