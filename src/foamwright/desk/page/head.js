/* The whole job: its name, machine, size and units. */
import { el, field, fill, put } from "./parts.js";

const UNITS = [["mm", "millimetres"], ["cm", "centimetres"], ["in", "inches"]];

export class Head {
  constructor(root, desk) {
    this.desk = desk;
    const set = (key) => (event) => desk.edit((cards) => (cards.head[key] = event.target.value));
    this.name = el("input", { id: "job-name", maxlength: 100, autocomplete: "off", onchange: set("name") });
    this.machine = el("select", { id: "job-machine", onchange: set("machine") });
    this.material = el("select", { id: "job-material", onchange: (e) => this.allOf(e.target) });
    this.units = el("select", { id: "job-units", onchange: set("units") });
    this.drawn = el("select", { id: "drawing-units", onchange: set("drawing_units") });
    this.size = el("select", { id: "job-size", onchange: () => this.resize() });
    this.factor = el("input", { id: "job-factor", type: "number", min: 0.001, max: 1000, step: "any", onchange: () => this.resize() });
    this.piece = el("select", { id: "fit-piece", onchange: () => this.resize() });
    this.way = el("select", { id: "fit-way", onchange: () => this.resize() });
    this.to = el("input", { id: "fit-to", autocomplete: "off", onchange: () => this.resize() });
    this.kept = el("p", { class: "soft" });
    this.times = field("Times", this.factor, "2 is twice as large; allowance, notches and kerf keep their size");
    this.fit = el("div", { class: "fields" }, field("Piece", this.piece), field("Measured", this.way), field("Comes to", this.to, "for example 310 mm or 12 1/4 in"));
    root.append(
      el("div", { class: "fields" },
        field("Name of the job", this.name),
        field("Machine", this.machine, "a card may name another"),
        field("Material on every card", this.material),
      ),
      el("div", { class: "fields" }, field("Size", this.size), this.times, this.kept,
        field("A number without a unit is in", this.units),
        field("The drawing is in", this.drawn, "counts only where the drawing doesn't say")),
      this.fit,
    );
  }

  /** One material on all cards, at once. */
  allOf(select) {
    const material = select.value;
    select.value = "";
    if (material) this.desk.edit((cards) => cards.pieces.forEach((p) => (p.material = material)));
  }

  resize() {
    const size = { kind: this.size.value, factor: Number(this.factor.value) || 1, piece: this.piece.value, way: this.way.value || "length", to: this.to.value };
    if (size.kind === "fit" && !size.piece) size.piece = this.desk.cards.pieces[0]?.was ?? "";
    this.desk.edit((cards) => {
      cards.head.size = { ...cards.head.size, ...size };
    }, size.kind !== "fit" || size.to !== "");
  }

  show(cards, shelf) {
    const { head } = cards;
    put(this.name, head.name);
    fill(this.machine, [["", "choose a machine"], ...shelf.machines.map((m) => [m.id, m.name])], head.machine);
    fill(this.material, [["", "choose for all"], ...byKind(shelf)], "");
    fill(this.units, UNITS, head.units);
    fill(this.drawn, [["", "the unit that it tells"], ...UNITS], head.drawing_units);
    const { size } = head;
    const kinds = [["drawn", "as drawn"], ["factor", "so many times"], ["fit", "so that a piece comes to"]];
    fill(this.size, size.kind === "kept" ? [...kinds, ["kept", "as the job file says"]] : kinds, size.kind);
    put(this.factor, String(size.factor));
    fill(this.piece, cards.pieces.map((p) => [p.was || p.name, p.name]), size.piece || cards.pieces[0]?.was || "");
    fill(this.way, [["length", "along the grain"], ["width", "across the grain"]], size.way);
    put(this.to, size.to);
    this.times.hidden = size.kind !== "factor";
    this.fit.hidden = size.kind !== "fit";
    this.kept.hidden = size.kind !== "kept";
    this.kept.textContent = size.told;
  }
}

const KINDS = [["foam", "Foam"], ["cloth", "Cloth"], ["fur", "Fur"], ["leather", "Leather"], ["board", "Card and board"], ["other", "Other"]];

/** The shelf's materials as groups of options. */
export function byKind(shelf) {
  return KINDS.map(([kind, group]) => ({
    group,
    options: shelf.materials.filter((m) => m.kind === kind).map((m) => [m.id, m.name]),
  })).filter((g) => g.options.length);
}
