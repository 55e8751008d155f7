/* The seam table, and a form that sews two edges together. */
import { el, field, fill, mm, put } from "./parts.js";

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

/** One seam of the table; it stays in its place, so that the keyboard does too. */
class Row {
  constructor(number, desk) {
    const set = (change) => desk.edit((cards) => change(cards.seams[number]));
    this.name = el("th", { scope: "row" });
    this.edges = [el("td"), el("td")];
    this.lengths = el("td", { class: "number" });
    this.notches = el("td", { class: "number" });
    this.ease = el("input", { placeholder: "0 mm", size: 7, autocomplete: "off", onchange: (e) => set((s) => (s.ease = e.target.value.trim())) });
    this.flat = el("input", { type: "checkbox", onchange: (e) => set((s) => (s.flat = e.target.checked)) });
    this.open = el("strong", { class: "fault" });
    this.out = el("button", { type: "button", class: "small quiet", onclick: () => {
      desk.edit((cards) => cards.seams.splice(number, 1));
      document.getElementById("seams").focus();
    } }, "Take out");
    this.root = el("tr", {}, this.name, this.edges, this.lengths, this.notches, el("td", {}, this.ease), el("td", {}, this.flat, this.open), el("td", {}, this.out));
  }

  show(seam, told, cards) {
    const called = new Map(cards.pieces.map((p) => [p.was, p.name]));
    const off = (words) => el("strong", { class: "fault" }, words);
    this.name.textContent = seam.name;
    seam.joins.forEach((join, side) => {
      const [piece] = join.split(".", 1);
      this.edges[side].textContent = `${called.get(piece) ?? piece}, ${join.slice(piece.length + 1)}`;
    });
    this.lengths.replaceChildren(told ? told.lengths_mm.map(mm).join(" and ") : "–");
    if (told && !told.matches) this.lengths.append(off(` differ by ${mm(Math.abs(told.difference_mm))}`));
    this.notches.replaceChildren(told ? told.notches.join(" and ") : "–");
    if (told && !told.notches_meet) this.notches.append(off(" don't meet"));
    put(this.ease, seam.ease);
    this.flat.checked = seam.flat;
    this.open.textContent = told && seam.flat && !told.closes_flat ? " does not" : "";
    for (const [part, words] of [[this.ease, `Ease of ${seam.name}`], [this.flat, `${seam.name} must close flat`], [this.out, `Take out ${seam.name}`]]) part.setAttribute("aria-label", words);
  }
}

export class Seams {
  constructor(root, desk) {
    this.desk = desk;
    this.rows = [];
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
    while (this.rows.length < cards.seams.length) this.rows.push(new Row(this.rows.length, this.desk));
    this.rows.splice(cards.seams.length).forEach((row) => row.root.remove());
    this.rows.forEach((row, n) => {
      if (!row.root.parentNode) this.body.append(row.root);
      row.show(cards.seams[n], measured.get(cards.seams[n].name), cards);
    });
    this.sides.forEach((s) => s.show(cards));
  }
}
