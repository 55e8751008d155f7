/* The seam table, and a form that sews two edges together. */
import { el, field, fill, mm } from "./parts.js";

/** One side of a new seam: a piece, and an edge of it, named already or between two places. */
class Side {
  constructor(words, desk) {
    this.desk = desk;
    const id = words.toLowerCase().replace(/ /g, "-");
    this.piece = el("select", { id: `${id}-piece`, onchange: () => this.edges() });
    this.edge = el("select", { id: `${id}-edge`, onchange: () => this.between() });
    this.from = el("select", { id: `${id}-from` });
    this.to = el("select", { id: `${id}-to` });
    this.places = el("div", { class: "fields" }, field("From", this.from), field("To", this.to));
    this.root = el("fieldset", {}, el("legend", {}, words), el("div", { class: "fields" }, field("Piece", this.piece), field("Edge", this.edge)), this.places);
  }

  show(cards) {
    const was = this.piece.value;
    const there = cards.pieces.some((p) => p.was === was);
    fill(this.piece, cards.pieces.map((p) => [p.was, p.name]), there ? was : cards.pieces[0]?.was ?? "");
    this.edges();
  }

  get card() {
    return this.desk.cards.pieces.find((p) => p.was === this.piece.value);
  }

  edges() {
    const piece = this.desk.state.pieces[this.card?.outline];
    const named = Object.entries(this.card?.edges ?? {}).map(([n, [a, b]]) => [`edge:${n}`, `${n} (${a} to ${b})`]);
    const openings = (piece?.openings ?? []).map((o) => [`edge:${o}`, `round the opening ${o}`]);
    const options = [...named, ...openings, ["between", "between two corners"]];
    const kept = options.some(([v]) => v === this.edge.value) ? this.edge.value : options[0][0];
    fill(this.edge, options, kept);
    const corners = Array.from({ length: piece?.corners ?? 0 }, (_, k) => [String(k + 1), `corner ${k + 1}`]);
    const places = [...corners, ...(piece?.points ?? []).map((p) => [p, `point ${p}`])];
    const [from, to] = [this.from.value, this.to.value];
    const has = (v) => places.some(([p]) => p === v);
    if (places.length) {
      fill(this.from, places, has(from) ? from : places[0][0]);
      fill(this.to, places, has(to) ? to : places[Math.min(1, places.length - 1)][0]);
    }
    this.between();
  }

  between() {
    this.places.hidden = this.edge.value !== "between";
  }

  /** The edge as `piece.edge`; one between two places is named by them. */
  join(cards) {
    const card = cards.pieces.find((p) => p.was === this.piece.value);
    if (this.edge.value !== "between") return `${card.was}.${this.edge.value.slice(5)}`;
    const name = `${this.from.value}-to-${this.to.value}`;
    card.edges[name] = [this.from.value, this.to.value];
    return `${card.was}.${name}`;
  }
}

export class Seams {
  constructor(root, desk) {
    this.desk = desk;
    this.body = el("tbody");
    this.table = el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Seam table" }, el("table", {},
      el("thead", {}, el("tr", {}, ["Seam", "First edge", "Second edge", "Lengths, mm", "Notches", "Ease", "Flat", ""].map((w) => el("th", { scope: "col" }, w || el("span", { class: "unseen" }, "Take out"))))),
      this.body));
    this.none = el("p", { class: "soft" }, "Nothing is sewn to anything yet.");
    this.name = el("input", { id: "seam-name", maxlength: 100, autocomplete: "off" });
    this.ease = el("input", { id: "seam-ease", autocomplete: "off", placeholder: "0 mm" });
    this.flat = el("input", { id: "seam-flat", type: "checkbox" });
    this.sides = [new Side("First edge", desk), new Side("Second edge", desk)];
    this.form = el("details", {}, el("summary", {}, "Sew two edges together"),
      el("p", { class: "soft" }, "Corners are numbered on the cards. An edge runs from one place to the next, counter-clockwise."),
      el("div", { class: "sides" }, this.sides.map((s) => s.root)),
      el("div", { class: "fields" }, field("Name of the seam", this.name), field("Ease", this.ease, "what one edge is longer by"),
        el("div", { class: "tick" }, this.flat, el("label", { for: "seam-flat" }, "must close flat"))),
      el("button", { type: "button", id: "add-seam", onclick: () => this.add() }, "Add the seam"));
    root.append(this.none, this.table, this.form);
  }

  add() {
    this.desk.edit((cards) => {
      const joins = this.sides.map((s) => s.join(cards));
      const taken = new Set(cards.seams.map((s) => s.name));
      let name = this.name.value.trim() || `seam ${cards.seams.length + 1}`;
      for (let n = 2; taken.has(name); n += 1) name = `${this.name.value.trim() || "seam"} ${n}`;
      cards.seams.push({ was: "", name, joins, ease: this.ease.value.trim(), flat: this.flat.checked });
    });
    this.name.value = "";
  }

  show(cards, state) {
    this.none.hidden = cards.seams.length > 0;
    this.table.hidden = cards.seams.length === 0;
    const measured = new Map(state.seams.map((s) => [s.name, s]));
    this.body.replaceChildren(...cards.seams.map((seam, n) => this.row(seam, n, measured.get(seam.name), cards, state)));
    this.sides.forEach((s) => s.show(cards));
  }

  row(seam, number, told, cards, state) {
    const called = new Map(cards.pieces.map((p) => [p.was, p.name]));
    const edge = (join) => {
      const [piece] = join.split(".", 1);
      return `${called.get(piece) ?? piece}, ${join.slice(piece.length + 1)}`;
    };
    const lengths = told ? `${told.lengths_mm.map(mm).join(" and ")}` : "–";
    const off = told && !told.matches ? el("strong", { class: "fault" }, ` differ by ${mm(Math.abs(told.difference_mm))}`) : null;
    const notches = told ? told.notches.join(" and ") : "–";
    const apart = told && !told.notches_meet ? el("strong", { class: "fault" }, " don't meet") : null;
    const open = told && seam.flat && !told.closes_flat ? el("strong", { class: "fault" }, " does not") : null;
    const ease = el("input", { "aria-label": `Ease of ${seam.name}`, value: seam.ease, placeholder: "0 mm", size: 7, onchange: (e) => this.desk.edit((c) => (c.seams[number].ease = e.target.value.trim())) });
    const flat = el("input", { type: "checkbox", "aria-label": `${seam.name} must close flat`, checked: seam.flat, onchange: (e) => this.desk.edit((c) => (c.seams[number].flat = e.target.checked)) });
    const out = el("button", { type: "button", class: "small quiet", "aria-label": `Take out ${seam.name}`, onclick: () => this.desk.edit((c) => c.seams.splice(number, 1)) }, "Take out");
    return el("tr", {}, el("th", { scope: "row" }, seam.name), el("td", {}, edge(seam.joins[0])), el("td", {}, edge(seam.joins[1])), el("td", { class: "number" }, lengths, off), el("td", { class: "number" }, notches, apart), el("td", {}, ease), el("td", {}, flat, open), el("td", {}, out));
  }
}
