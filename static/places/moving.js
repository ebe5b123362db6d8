// Moving picked ramets: where they would go, shown on both plates before anything is written.
import { Plate, Preview, asked, drawn, fit, lookOf, say } from "./grid.js";

export class Moving {
  constructor(form, target, plate, preview) {
    this.form = form;
    this.target = target;
    this.plate = plate;
    this.preview = preview;
    this.below = new Preview();
    this.says = form.querySelector("[data-says]");
    this.to = null;
    this.spots = [];
  }

  /** The code of the structure that they go to. */
  get code() {
    return this.form.querySelector("[name=to]").value.trim().toUpperCase();
  }

  /** Fetch the structure that was named, unless it is known. */
  async aim() {
    const { code } = this;
    if (code === this.to?.code) {
      return;
    }
    this.to = null;
    this.target.hidden = true;
    if (code === this.plate.code) {
      this.to = this.plate;
    } else if (code) {
      const body = await asked(`/structures/${encodeURIComponent(code)}/cells/`);
      if (this.code !== code) {
        return;
      }
      if (body.fault) {
        this.says.textContent = body.fault;
        return;
      }
      this.to = new Plate(body);
      this.to.table = drawn(this.to, body.name);
      this.target.replaceChildren(this.to.table);
    }
  }

  /** Show where these would go: from the cell that was named on, else into the first free ones. */
  look(some) {
    const { to, plate } = this;
    this.spots = [];
    this.preview.clear();
    this.below.clear();
    if (!to) {
      return;
    }
    if (!to.rows) {
      this.says.textContent = say("open_structure", { code: to.code, m: some.length });
      return;
    }
    const own = to === plate;
    const leaving = own ? new Set(some.map((cell) => cell.index)) : new Set();
    const first = this.form.querySelector("[data-first]").value.trim().toUpperCase();
    const cells = to.free(to.byName.get(first), leaving).slice(0, some.length);
    const coming = cells.map((cell, number) => [cell, lookOf(plate, some[number], "u")]);
    const stays = new Set(cells.map((cell) => cell.index));
    const going = some
      .filter((cell) => !own || !stays.has(cell.index))
      .map((cell) => [cell, { ...lookOf(plate, cell, cell.ramet.state), leaving: true }]);
    if (own) {
      this.preview.show([...going, ...coming]);
    } else {
      this.preview.show(going);
      this.target.hidden = false;
      fit(to.table, to, this.target);
      this.below.show(coming);
    }
    this.spots = cells.map((cell) => cell.name);
    const counts = { n: cells.length, m: some.length, code: to.code };
    this.says.textContent = say("goes_to", counts);
  }
}
