// Picking cells of a page's own grid. One tab stop for all cells; arrows go from cell to cell.

/** The page's own grid, in which cells are picked. */
export class Picking {
  constructor(table, plate, { changed, named }) {
    this.table = table;
    this.plate = plate;
    this.changed = changed;
    this.named = named;
    this.on = new Set();
    this.anchor = null;
    this.base = null;
    this.focused = null;
    table.setAttribute("role", "grid");
    table.setAttribute("aria-multiselectable", "true");
    const rows = table.tBodies[0].rows;
    for (const cell of plate.cells) {
      cell.td = rows[cell.row].cells[cell.column + 1];
      cell.td.cell = cell;
      if (!cell.blocked) {
        cell.td.setAttribute("aria-selected", "false");
      }
    }
    this.stop(plate.cells.find((cell) => !cell.blocked));
    table.addEventListener("pointerdown", (event) => this.pressed(event));
    table.addEventListener("pointerover", (event) => this.over(event));
    table.addEventListener("click", (event) => this.clicked(event));
    table.addEventListener("keydown", (event) => this.keyed(event));
    table.addEventListener("focusin", (event) => event.target.cell && named(event.target.cell));
    window.addEventListener("pointerup", () => {
      this.dragging = false;
    });
  }

  /** The cells that are picked, in filling order. */
  get cells() {
    return [...this.on].sort((x, y) => x - y).map((index) => this.plate.cells[index]);
  }

  /** Pick exactly these indexes, touching only cells that change. */
  set(next) {
    for (const index of this.on) {
      if (!next.has(index)) {
        this.plate.cells[index].td.setAttribute("aria-selected", "false");
      }
    }
    for (const index of next) {
      if (!this.on.has(index)) {
        this.plate.cells[index].td.setAttribute("aria-selected", "true");
      }
    }
    this.on = next;
    this.changed();
  }

  /** Pick cells besides what is picked; if all of them are, let them go. */
  toggle(cells) {
    const next = new Set(this.on);
    const all = cells.every((cell) => next.has(cell.index));
    for (const cell of cells) {
      if (all) {
        next.delete(cell.index);
      } else {
        next.add(cell.index);
      }
    }
    this.set(next);
  }

  /** The one cell that Tab leads to. */
  stop(cell) {
    this.focused?.td.removeAttribute("tabindex");
    this.focused = cell;
    cell?.td.setAttribute("tabindex", "0");
  }

  focus(cell) {
    this.stop(cell);
    cell.td.focus({ preventScroll: false });
  }

  begin(cell) {
    this.anchor = cell;
    this.base = new Set(this.on);
    this.adds = !this.on.has(cell.index);
  }

  /** What was picked before, with the block from the anchor to a cell picked or let go. */
  stretch(cell) {
    if (!this.anchor) {
      this.begin(this.focused);
    }
    const next = new Set(this.base);
    for (const each of this.plate.block(this.anchor, cell)) {
      if (this.adds) {
        next.add(each.index);
      } else {
        next.delete(each.index);
      }
    }
    this.set(next);
  }

  pressed(event) {
    const cell = event.target.closest("td")?.cell;
    // A finger that moves scrolls; its tap comes as a click.
    if (!cell || cell.blocked || event.button !== 0 || event.pointerType === "touch") {
      return;
    }
    event.preventDefault();
    if (event.shiftKey && this.anchor) {
      this.stretch(cell);
    } else {
      this.begin(cell);
      this.stretch(cell);
      this.dragging = true;
    }
    this.focus(cell);
  }

  over(event) {
    const cell = event.target.closest("td")?.cell;
    if (!cell || cell.blocked) {
      return;
    }
    this.named(cell);
    if (this.dragging) {
      this.stretch(cell);
      this.stop(cell);
    }
  }

  clicked(event) {
    const cell = event.target.closest("td")?.cell;
    const head = event.target.closest("th");
    if (cell && !cell.blocked && !["mouse", "pen"].includes(event.pointerType)) {
      this.begin(cell);
      this.toggle([cell]);
      this.focus(cell);
    } else if (head) {
      const across = head.scope === "row";
      const at = across ? head.parentElement.rowIndex - 1 : head.cellIndex - 1;
      this.toggle(this.line(across, at));
      const first = this.line(across, at)[0];
      if (first) {
        this.focus(first);
      }
    }
  }

  line(across, at) {
    return this.plate.cells.filter(
      (cell) => !cell.blocked && (across ? cell.row : cell.column) === at,
    );
  }

  step(cell, down, right) {
    let { row, column } = cell;
    for (;;) {
      row += down;
      column += right;
      if (row < 0 || column < 0 || row >= this.plate.rows || column >= this.plate.columns) {
        return cell;
      }
      const next = this.plate.cells[row * this.plate.columns + column];
      if (!next.blocked) {
        return next;
      }
    }
  }

  keyed(event) {
    const cell = event.target.cell;
    if (!cell) {
      return;
    }
    const ctrl = event.ctrlKey || event.metaKey;
    const row = this.line(true, cell.row);
    const column = this.line(false, cell.column);
    const all = this.plate.cells.filter((each) => !each.blocked);
    const steps = {
      ArrowUp: () => this.step(cell, -1, 0),
      ArrowDown: () => this.step(cell, 1, 0),
      ArrowLeft: () => this.step(cell, 0, -1),
      ArrowRight: () => this.step(cell, 0, 1),
      Home: () => (ctrl ? all[0] : row[0]),
      End: () => (ctrl ? all.at(-1) : row.at(-1)),
      PageUp: () => column[0],
      PageDown: () => column.at(-1),
    };
    if (steps[event.key] && !event.altKey) {
      const next = steps[event.key]();
      if (event.shiftKey) {
        this.stretch(next);
      } else {
        this.anchor = null;
      }
      this.focus(next);
    } else if (event.key === " ") {
      if (event.shiftKey) {
        this.toggle(row);
      } else if (ctrl) {
        this.toggle(column);
      } else {
        this.begin(cell);
        this.toggle([cell]);
      }
    } else if (ctrl && event.key.toLowerCase() === "a") {
      this.set(new Set(all.map((each) => each.index)));
    } else {
      return;
    }
    event.preventDefault();
  }
}
