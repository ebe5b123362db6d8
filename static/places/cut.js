// The form of a cutting: who is cut, into which plate, how many; and how the plate would look.
import { Plate, Preview, asked, drawn, fit, say } from "./grid.js";

// A code, a tag, or a structure and its cell, such as K-14 C7: read as the server reads it.
const named =
  /(?![A-Za-z]{1,2}\d{1,3}(?:[\s,;]|$))[^\s,;]+[ \t]+[A-Za-z]{1,2}\d{1,3}(?=[\s,;]|$)|[^\s,;]+/g;

export class CutForm {
  /** `plate` is the page's own, where the form stands on a plate's page. */
  constructor(box, { plate = null, stopped = () => {} } = {}) {
    this.box = box;
    this.plate = plate;
    this.form = box.querySelector("[data-cut-form]");
    this.target = this.form.querySelector("[data-target]");
    this.says = this.form.querySelector("[data-cut-says]");
    this.go = this.form.querySelector("[data-cut-go]");
    this.preview = new Preview();
    this.plates = new Map(plate ? [[plate.code, plate]] : []);
    this.known = new Map();
    this.wanted = null;
    this.counted = this.form.elements.count.value !== "";
    this.form.addEventListener("change", (event) => this.changed(event.target));
    this.form.addEventListener("input", (event) => {
      if (event.target.name === "count") {
        this.counted = event.target.value !== "";
        this.look();
      }
    });
    this.form.addEventListener("keydown", (event) => this.keyed(event));
    const stop = this.form.querySelector("[data-cut-stop]");
    stop.hidden = !plate;
    stop.addEventListener("click", stopped);
  }

  /** Open with these mothers; with free cells of this plate, if some are picked. */
  open(mothers, cells) {
    const { elements } = this.form;
    this.box.hidden = false;
    elements.mothers.value = mothers.map((cell) => cell.ramet.code).join(" ");
    for (const cell of mothers) {
      const { code, genet } = cell.ramet;
      const mark = this.plate.genets[genet] ?? { sign: "mark-u", label: "", name: "" };
      this.known.set(code, { code, genet, ...mark, living: true, where: cell.name });
    }
    this.wanted = cells.length ? cells : null;
    elements.other.value = cells.length ? this.plate.code : "";
    this.counted = false;
    this.tell();
    this.aim();
    this.box.scrollIntoView({ block: "start" });
    (mothers.length ? this.go : elements.mothers).focus();
  }

  close() {
    this.preview.clear();
    this.box.hidden = true;
  }

  changed(field) {
    if (field.name === "mothers") {
      this.ask();
    } else if (["into", "other", "new_code", "like"].includes(field.name)) {
      if (field.name === "into") {
        this.form.elements.other.value = "";
      }
      this.wanted = null;
      this.aim();
    } else if (field.name === "used_up") {
      this.look();
    }
  }

  /** A scanner ends with Enter: in the field of mothers and of plates that is not yet the act. */
  keyed(event) {
    if (event.key === "Escape" && this.plate) {
      this.form.querySelector("[data-cut-stop]").click();
    } else if (event.key === "Enter" && event.target.name === "mothers" && event.target.value) {
      event.preventDefault();
      this.ask().then((whole) => whole && this.go.focus());
    } else if (event.key === "Enter" && event.target.name === "other" && event.target.value) {
      event.preventDefault();
      this.aim().then(() => this.go.focus());
    }
  }

  get mothers() {
    const names = this.form.elements.mothers.value.match(named) ?? [];
    return [...new Set(names.map((name) => name.replace(/\s+/, " ")))];
  }

  /** Look up the mothers that are not known yet; whether all of them are, then. */
  async ask() {
    const names = this.mothers.filter((name) => !this.known.has(name));
    for (const name of names) {
      this.known.set(name, await asked(`/named/?q=${encodeURIComponent(name)}`));
    }
    this.tell();
    this.look();
    const faulty = this.mothers.filter((name) => this.known.get(name)?.fault);
    faulty.forEach((name) => this.known.delete(name));
    return faulty.length === 0;
  }

  /** Who the mothers are, and what is to be minded. */
  tell() {
    const list = this.form.querySelector("[data-mothers]");
    const known = this.mothers.map((name) => this.known.get(name)).filter(Boolean);
    list.replaceChildren(
      ...known.map((each) => {
        const li = document.createElement("li");
        li.className = each.fault || !each.living ? "fault" : "";
        li.textContent = each.fault
          ? each.fault
          : each.living
            ? [each.code, `${each.label} ${each.name}`.trim(), each.where].filter(Boolean).join(" · ")
            : say("not_living", each);
        return li;
      }),
    );
    const good = known.filter((each) => !each.fault);
    const taxa = new Set(good.map((each) => each.taxon).filter(Boolean));
    const genets = new Set(good.map((each) => each.genet));
    const warnings = [];
    if (taxa.size > 1) {
      warnings.push(say("taxa", { taxa: [...taxa].join(", ") }));
    } else if (genets.size > 1) {
      warnings.push(say("pooled", { n: genets.size }));
    }
    const into = this.into;
    const other = into?.data.taxa.filter((name) => taxa.size && !taxa.has(name)) ?? [];
    if (other.length) {
      warnings.push(say("mixed", { code: into.code, taxa: other.join(", ") }));
    }
    this.form.querySelector("[data-warnings]").replaceChildren(
      ...warnings.map((text) => {
        const p = document.createElement("p");
        p.className = "flag";
        p.textContent = text;
        return p;
      }),
    );
    const zoanthid = document.querySelector("[data-zoanthid]");
    if (zoanthid && good.some((each) => each.zoanthid)) {
      zoanthid.hidden = false;
    }
  }

  /** The code of the plate that the pieces go to. */
  get code() {
    const { elements } = this.form;
    const other = elements.new_code?.value.trim() || elements.other.value.trim();
    return (other || this.form.querySelector("[name=into]:checked")?.value || "").toUpperCase();
  }

  get into() {
    return this.plates.get(this.code) ?? null;
  }

  /** Take aim at another plate: how many it holds is known at once, its cells a moment later. */
  async aim() {
    const { code } = this;
    const isNew = Boolean(this.form.elements.new_code?.value.trim());
    this.look();
    if (code && !isNew && !this.plates.has(code)) {
      const body = await asked(`/structures/${encodeURIComponent(code)}/cells/`);
      if (body.fault) {
        if (this.code === code) {
          this.says.textContent = body.fault;
        }
        return;
      }
      const into = new Plate(body);
      into.table = drawn(into, body.name);
      this.plates.set(code, into);
    }
    if (this.code === code) {
      this.tell();
      this.look();
    }
  }

  /** How many cells wait for pieces, as far as that is known. */
  room() {
    const { elements } = this.form;
    if (elements.new_code?.value.trim()) {
      return Number(elements.like.selectedOptions[0].dataset.free);
    }
    const { into } = this;
    if (into) {
      return into.rows ? this.cells(into).length : 0;
    }
    const choice = this.form.querySelector("[name=into]:checked");
    return choice?.value === this.code ? Number(choice.dataset.free) : 0;
  }

  /** The cells that are filled, in order: those that were picked, else all that are free. */
  cells(into) {
    return this.wanted && into === this.plate ? this.wanted : into.free();
  }

  look() {
    const { elements } = this.form;
    const { into } = this;
    const room = Math.min(this.room(), 1000);
    if (!this.counted) {
      elements.count.value = room || "";
    }
    const n = Number(elements.count.value) || 0;
    this.preview.clear();
    this.target.hidden = true;
    elements.spots.value = "";
    this.says.textContent = "";
    const mothers = this.mothers.map((name) => this.known.get(name)).filter((each) => each?.code);
    const genets = new Set(mothers.map((each) => each.genet));
    const one = genets.size === 1 ? mothers[0] : null;
    if (into?.rows) {
      const cells = this.cells(into);
      const filled = cells.slice(0, n);
      if (n > cells.length) {
        this.says.textContent = say("too_many", { code: into.code, m: cells.length });
      } else if (n) {
        const ends = { first: filled[0].name, last: filled.at(-1).name };
        this.says.textContent = say("fills", { n, m: cells.length, code: into.code, ...ends });
        elements.spots.value = filled.map((cell) => cell.name).join(",");
      }
      if (into !== this.plate) {
        this.target.replaceChildren(into.table);
        this.target.hidden = false;
        fit(into.table, into, this.target);
      }
      const look = one
        ? { sign: one.sign, label: one.label }
        : { sign: mothers.length ? "mark-u" : "mark-n", label: "" };
      this.preview.show(filled.map((cell) => [cell, look]));
    }
    this.go.textContent =
      this.mothers.length === 1
        ? say("go_cut_from", { n, mother: one?.code ?? this.mothers[0] })
        : say("go_cut", { n });
  }
}

// On its own page the form is open from the beginning.
const own = document.querySelector("[data-own]");
if (own) {
  const form = new CutForm(own);
  form.ask();
  form.aim();
}
