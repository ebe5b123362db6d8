// Placing ramets: scanned one after another, or all that wait of an entry, into picked free cells.
import { asked, say } from "./grid.js";

export class Placing {
  constructor(form, preview) {
    this.preview = preview;
    this.says = form.querySelector("[data-says]");
    this.go = form.querySelector("[data-go]");
    this.select = form.querySelector("[data-waiting]");
    this.placed = [];
    this.waiting = null;
    this.last = Promise.resolve();
  }

  /** Show those that were scanned in these cells, in order. */
  look(room) {
    this.placed = this.placed.slice(0, room.length);
    this.preview.show(
      this.placed.map(({ sign, label }, number) => [room[number], { sign, label }]),
    );
    this.go.textContent = say("go_place", { n: this.placed.length });
  }

  put(each, room) {
    if (this.placed.some((one) => one.code === each.code)) {
      this.says.textContent = say("scanned_already", { code: each.code });
    } else if (this.placed.length >= room.length) {
      this.says.textContent = say("no_cell_left", { code: each.code });
    } else {
      this.placed.push(each);
      const { name } = room[this.placed.length - 1];
      this.says.textContent = say("scanned", { code: each.code, cell: name });
    }
  }

  /** What a scanner typed; the field is empty for the next one. Answers keep the order of scans. */
  scan(field, room) {
    const text = field.value.trim();
    field.value = "";
    field.focus();
    const answer = asked(`/named/?q=${encodeURIComponent(text)}`);
    this.last = this.last.then(async () => this.take(await answer, room));
    return this.last;
  }

  take(body, room) {
    if (body.fault) {
      this.says.textContent = body.fault;
    } else if (!body.living) {
      this.says.textContent = say("not_living", { code: body.code, life: body.life });
    } else {
      this.put(body, room);
    }
  }

  /** Offer the entries whose ramets have no place yet. */
  async offer() {
    if (this.waiting) {
      return;
    }
    this.waiting = [];
    this.waiting = (await asked("/waiting/")).entries ?? [];
    this.waiting.forEach((entry, number) => {
      this.select.add(new Option(`${entry.says}: ${entry.ramets.length}`, number));
    });
  }

  putAll(number, room) {
    for (const each of this.waiting[number].ramets) {
      this.put(each, room);
    }
  }

  /** Cells with the ramets that go into them, as they are sent. */
  pairs(room) {
    return this.placed.map((each, number) => `${room[number].name}=${each.code}`);
  }
}
