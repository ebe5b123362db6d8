// The grid of a structure: what is in each cell, and how it would look. A cell of `data.cells` is
// null (blocked), 0 (free), [code, kind] (a structure) or [code, genet, state, days, size] (a ramet).

const SVG = "http://www.w3.org/2000/svg";
const SMALLEST = 24;
const SMALLEST_TOUCHED = 44;
const LARGEST = 60;

export const words = JSON.parse(document.getElementById("plate-data")?.textContent ?? "{}").words;

/** A sentence of the page with what stands in braces filled in. */
export function say(name, values = {}) {
  return words[name].replace(/\{(\w+)\}/g, (_whole, key) => values[key] ?? "");
}

export function letters(index) {
  let text = "";
  for (let left = index + 1; left > 0; left = Math.floor((left - 1) / 26)) {
    text = String.fromCharCode(65 + ((left - 1) % 26)) + text;
  }
  return text;
}

/** What is in a cell: `ramet`, `held` (a structure), `free`, or nothing where it is blocked. */
function read(entry) {
  if (entry === null) {
    return { blocked: true };
  }
  if (entry === 0) {
    return { free: true };
  }
  if (entry.length === 2) {
    return { held: { code: entry[0], kind: entry[1] } };
  }
  const [code, genet, state, days, size] = entry;
  const living = "alu".includes(state);
  return { ramet: { code, genet, state, days, size, living }, free: !living };
}

/** An answer of the page's own server, or `{fault}` with a sentence. */
export async function asked(address) {
  try {
    const answer = await fetch(address, { headers: { Accept: "application/json" } });
    const body = await answer.json();
    return answer.ok ? body : { fault: body.message };
  } catch {
    return { fault: say("not_found") };
  }
}

export class Plate {
  /** The cells as plain values, in the order in which they are filled. */
  constructor(data) {
    this.data = data;
    this.code = data.code;
    this.genets = data.genets;
    this.columns = data.columns;
    this.rows = data.rows;
    this.cells = data.cells.map((entry, index) => ({
      index,
      row: Math.floor(index / data.columns),
      column: index % data.columns,
      name: `${letters(index % data.columns)}${Math.floor(index / data.columns) + 1}`,
      ...read(entry),
    }));
    this.byName = new Map(this.cells.map((cell) => [cell.name, cell]));
  }

  /** Free cells in the order in which they are filled; `leaving` cells count as free. */
  free(from = null, leaving = new Set()) {
    return this.cells.filter(
      (cell) => (cell.free || leaving.has(cell.index)) && (!from || cell.index >= from.index),
    );
  }

  label(genet) {
    return this.genets[genet]?.label ?? "";
  }

  /** The cells that a text names (`A1:C4, E5`); throws a sentence for what is not a cell here. */
  named(text) {
    const found = [];
    for (const part of text.toUpperCase().replace(/\s*:\s*/g, ":").split(/[\s,;]+/)) {
      if (!part) {
        continue;
      }
      const [first, second] = part.split(":").map((name) => {
        const match = /^([A-Z]{1,2})0*([1-9]\d*)$/.exec(name);
        if (!match) {
          throw new RangeError(say("not_cells", { text: part }));
        }
        const cell = this.byName.get(match[1] + match[2]);
        if (!cell) {
          throw new RangeError(say("not_here", { cell: name }));
        }
        return cell;
      });
      found.push(...this.block(first, second ?? first));
    }
    return found;
  }

  block(one, other) {
    const [top, bottom] = [one.row, other.row].sort((x, y) => x - y);
    const [left, right] = [one.column, other.column].sort((x, y) => x - y);
    const found = [];
    for (let row = top; row <= bottom; row += 1) {
      found.push(...this.cells.slice(row * this.columns + left, row * this.columns + right + 1));
    }
    return found.filter((cell) => !cell.blocked);
  }
}

function drawing(sign) {
  const svg = document.createElementNS(SVG, "svg");
  const use = document.createElementNS(SVG, "use");
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", `#${sign}`);
  svg.append(use);
  return svg;
}

// A sheet of our own: a size is no attribute of an element, which the page's policy is to forbid.
const sizes = new CSSStyleSheet();
const sized = new Map();
document.adoptedStyleSheets = [...document.adoptedStyleSheets, sizes];

/** How large a cell can be, so that the whole grid is seen if it can be. */
export function fit(table, plate, room = table.parentElement) {
  const touched = matchMedia("(pointer: coarse)").matches;
  const least = touched ? SMALLEST_TOUCHED : SMALLEST;
  const across = (room.clientWidth - 40) / plate.columns - 2;
  const down = (window.innerHeight - 260) / plate.rows - 2;
  const side = Math.max(least, Math.min(LARGEST, across, Math.max(down, least + 10)));
  sized.set(table, Math.floor(side));
  table.dataset.size = Math.floor(side);
  sizes.replaceSync(
    [...new Set(sized.values())]
      .map((px) => `.plate[data-size="${px}"] { --cell: ${px}px; }`)
      .join(""),
  );
  table.classList.toggle("tiny", side < 36);
}

/** A table of a plate that is only looked at, as another one's preview. */
export function drawn(plate, label) {
  const table = document.createElement("table");
  table.className = "plate";
  table.setAttribute("aria-label", label);
  const head = table.createTHead().insertRow();
  head.insertCell().className = "x";
  for (let column = 0; column < plate.columns; column += 1) {
    const th = document.createElement("th");
    th.scope = "col";
    th.textContent = letters(column);
    head.append(th);
  }
  const body = table.createTBody();
  plate.cells.forEach((cell) => {
    if (cell.column === 0) {
      const th = document.createElement("th");
      th.scope = "row";
      th.textContent = cell.row + 1;
      body.insertRow().append(th);
    }
    const td = body.rows[cell.row].insertCell();
    cell.td = td;
    td.className = cell.blocked ? "x" : cell.held ? "h" : cell.ramet ? cell.ramet.state : "f";
    if (cell.held) {
      td.append(drawing("mark-h"));
    } else if (cell.ramet) {
      const { living, genet, state } = cell.ramet;
      td.append(drawing(living ? (plate.genets[genet]?.sign ?? "mark-u") : `mark-${state}`));
      if (living) {
        const b = document.createElement("b");
        b.textContent = plate.label(genet);
        td.append(b);
      }
    }
  });
  return table;
}

/** Shows and takes away how cells would look. */
export class Preview {
  constructor() {
    this.shown = [];
  }

  /** `looks` is a list of [cell, {state} or {sign, label}], in the order in which they come. */
  show(looks) {
    this.clear();
    const step = Math.min(12, 160 / Math.max(looks.length, 1));
    looks.forEach(([cell, look], number) => {
      const { td } = cell;
      this.shown.push([td, td.className, [...td.childNodes]]);
      const parts = [];
      if (look.sign) {
        parts.push(drawing(look.sign));
      } else if ("dme".includes(look.state)) {
        parts.push(drawing(`mark-${look.state}`));
      } else if (look.state) {
        parts.push(...[...td.childNodes].map((node) => node.cloneNode(true)));
      }
      if (look.label) {
        const b = document.createElement("b");
        b.textContent = look.label;
        parts.push(b);
      }
      td.replaceChildren(...parts);
      td.className = `${look.state ?? "u"} coming${look.leaving ? " leaving" : ""}`;
      td.style.setProperty("--wait", `${Math.round(number * step)}ms`);
    });
  }

  clear() {
    for (const [td, name, nodes] of this.shown.reverse()) {
      td.className = name;
      td.replaceChildren(...nodes);
      td.style.removeProperty("--wait");
    }
    this.shown = [];
  }
}

/** How a ramet would look in another state; one that was thought dead has its mark again. */
export function lookOf(plate, cell, state) {
  if ("dme".includes(state)) {
    return { state };
  }
  const { genet } = cell.ramet;
  return { state, sign: plate.genets[genet]?.sign ?? "mark-u", label: plate.label(genet) };
}
