/* Piece cards: what a piece is, which hand, of what, on what, how many, sewn to what. */
import { byKind } from "./head.js";
import { el, field, fill, mm, picture, put } from "./parts.js";

const LINES = [["cut-line", "where it is cut"], ["stitch-line", "where it is sewn"]];

/** In a maker's words which hands the copies are. */
export function hands(count, mirrored) {
  if (count === 1 && mirrored === 1) return "a left and a right";
  if (count && mirrored) return count === mirrored ? `${count} pairs, left and right` : `${count} as drawn, ${mirrored} mirrored`;
  if (mirrored) return mirrored === 1 ? "one, mirrored" : `${mirrored} alike, mirrored`;
  if (count) return count === 1 ? "one, as drawn" : `${count} alike, as drawn`;
  return "none";
}

class PieceCard {
  constructor(number, desk) {
    this.number = number;
    this.desk = desk;
    const id = (part) => `piece-${number}-${part}`;
    const set = (key) => (e) => this.edit((card) => (card[key] = e.target.value));
    const many = (key) => (e) => this.edit((card) => (card[key] = Math.max(0, Math.round(Number(e.target.value)) || 0)));
    this.title = el("h3", { id: id("title"), class: "unseen" });
    this.badges = el("p", { class: "badges" });
    this.figure = el("div", { class: "figure" });
    this.name = el("input", { id: id("name"), maxlength: 100, autocomplete: "off", onchange: (e) => this.edit((card) => (card.name = e.target.value.trim() || card.name)) });
    this.material = el("select", { id: id("material"), onchange: set("material") });
    this.machine = el("select", { id: id("machine"), onchange: set("machine") });
    this.count = el("input", { id: id("count"), type: "number", min: 0, max: 1000, onchange: many("count") });
    this.mirrored = el("input", { id: id("mirrored"), type: "number", min: 0, max: 1000, onchange: many("mirrored") });
    this.drawn = el("select", { id: id("drawn"), onchange: set("drawn") });
    this.line = field("The line shows", this.drawn);
    this.allowance = el("input", { id: id("allowance"), autocomplete: "off", placeholder: "none", onchange: (e) => this.edit((card) => (card.allowance.default = e.target.value.trim())) });
    this.hint = el("small", { id: id("allowance-hint") });
    this.allowance.setAttribute("aria-describedby", this.hint.id);
    this.edges = el("div", { class: "fields" });
    this.sewn = el("ul", { class: "sewn" });
    this.also = el("p", { class: "soft" });
    this.told = el("ul", { class: "told", "aria-label": "About this piece" });
    this.pair = el("button", { type: "button", class: "small", onclick: () => this.edit((card) => { card.count = 1; card.mirrored = 1; }) }, "A pair");
    this.root = el("li", { class: "card" },
      el("article", { "aria-labelledby": this.title.id },
        this.title,
        el("div", { class: "field called" }, el("label", { for: this.name.id }, "What it is"), this.name),
        this.badges,
        this.figure,
        field("Material", this.material),
        field("Machine", this.machine),
        el("div", { class: "fields hands" }, field("As drawn", this.count), field("Mirrored", this.mirrored), this.pair),
        el("div", { class: "fields" }, this.line,
          el("div", { class: "field" }, el("label", { for: this.allowance.id }, "Allowance"), this.allowance, this.hint)),
        this.edges,
        el("div", {}, el("h4", {}, "Sewn to"), this.sewn), this.also, this.told,
        el("button", { type: "button", class: "small quiet", onclick: () => this.leave() }, "Leave this piece out"),
      ));
  }

  edit(change) {
    this.desk.edit((cards) => change(cards.pieces[this.number]));
  }

  /** Takes the piece out of the job, and the seams that would hang on it. */
  leave() {
    this.desk.edit((cards) => {
      const [gone] = cards.pieces.splice(this.number, 1);
      cards.seams = cards.seams.filter((s) => !s.joins.some((j) => j.startsWith(`${gone.was}.`)));
    });
    document.getElementById("pieces").focus();
  }

  show(card, cards, state) {
    const { shelf } = state;
    const piece = state.pieces[card.outline];
    const stuff = shelf.materials.find((m) => m.id === card.material);
    this.title.textContent = card.name || "a piece without a name";
    const cut = state.cut_mm[card.name];
    const size = cut ? `${cut.map(mm).join(" × ")} mm cut` : piece ? `${mm(piece.across_mm)} × ${mm(piece.along_mm)} mm drawn` : null;
    const badge = (words, kind = "") => words && el("span", { class: `badge ${kind}` }, words);
    this.badges.replaceChildren(...[badge(stuff?.kind, "kind"), badge(hands(card.count, card.mirrored)), badge(size)].filter(Boolean));
    this.line.hidden = card.outline === "";
    const drawing = piece?.picture ?? "";
    if (this.drawing !== drawing) {
      this.drawing = drawing;
      this.figure.replaceChildren(drawing ? picture(drawing) : el("p", { class: "soft" }, card.outline ? `${card.outline}: bring the drawing that holds it` : "Made from another piece, as the job file says."));
    }
    put(this.name, card.name);
    fill(this.material, [["", "choose a material"], ...byKind(shelf)], card.material);
    this.showMachines(card, cards, shelf);
    put(this.count, String(card.count));
    put(this.mirrored, String(card.mirrored));
    fill(this.drawn, LINES, card.drawn);
    put(this.allowance, card.allowance.default ?? "");
    const wide = card.allowance.default;
    this.hint.textContent = !wide ? "for example 6 mm or 1/4 in" : card.drawn === "stitch-line" ? "added outside the drawn line" : "lies within the drawn line already";
    this.showEdges(card);
    this.showSeams(card, cards);
    this.also.textContent = card.also.length ? `By the job file also: ${card.also.join(", ")}.` : "";
    const mine = state.findings.filter((f) => f.cards.includes(card.name) && f.severity !== "note");
    this.told.replaceChildren(...mine.map((f) => el("li", { class: f.severity }, f.what, f.mend ? `; ${f.mend}` : "")));
    this.root.classList.toggle("refused", mine.some((f) => f.severity === "fault"));
  }

  showMachines(card, cards, shelf) {
    const told = shelf.pairs[card.material] ?? {};
    const words = (m) => (told[m.id] ? `${m.name} (${told[m.id]})` : m.name);
    const jobs = shelf.machines.find((m) => m.id === cards.head.machine);
    const whole = jobs ? `the job's: ${words(jobs)}` : "the job's machine";
    fill(this.machine, [["", whole], ...shelf.machines.map((m) => [m.id, words(m)])], card.machine);
  }

  /** Allowances of single edges: those that the job has, and one for each named edge. */
  showEdges(card) {
    const names = [...new Set([...Object.keys(card.allowance), ...Object.keys(card.edges)])].filter((n) => n !== "default");
    if (this.edgeNames !== names.join("\n")) {
      this.edgeNames = names.join("\n");
      this.edgeInputs = names.map((name) => el("input", { id: `piece-${this.number}-edge-${names.indexOf(name)}`, placeholder: "as the others", autocomplete: "off", onchange: (e) => this.edit((c) => (c.allowance[name] = e.target.value.trim())) }));
      this.edges.replaceChildren(...names.map((name, k) => field(`Allowance of ${name}`, this.edgeInputs[k])));
    }
    names.forEach((name, k) => put(this.edgeInputs[k], card.allowance[name] ?? ""));
  }

  showSeams(card, cards) {
    const mine = cards.seams.flatMap((seam) => {
      const at = seam.joins.map((j) => j.split(".")[0] === card.was);
      if (!at[0] && !at[1]) return [];
      const [own, other] = at[0] ? seam.joins : [seam.joins[1], seam.joins[0]];
      const edge = own.slice(own.indexOf(".") + 1);
      const far = at[0] && at[1] ? `its own ${other.slice(other.indexOf(".") + 1)}` : other.replace(".", ", ");
      return [el("li", {}, `${edge} to ${far}`)];
    });
    this.sewn.replaceChildren(...(mine.length ? mine : [el("li", { class: "soft" }, "nothing")]));
  }
}

export class Pieces {
  constructor(list, others, desk) {
    Object.assign(this, { list, others, desk, key: "", made: [] });
  }

  show(cards, state) {
    const key = cards.pieces.map((p) => p.outline).join("\n");
    if (key !== this.key) {
      this.key = key;
      this.made = cards.pieces.map((_, n) => new PieceCard(n, this.desk));
      this.list.replaceChildren(...this.made.map((m) => m.root));
    }
    this.made.forEach((m, n) => m.show(cards.pieces[n], cards, state));
    const add = (outline) => this.desk.edit((c) => c.pieces.push(fresh(outline, c)));
    this.others.replaceChildren(
      ...(state.others.length ? [el("h3", {}, "In the drawing, but not cut"), el("ul", { class: "chips" }, state.others.map((o) => el("li", {}, el("button", { type: "button", class: "small", onclick: () => add(o) }, `Add ${o.slice(o.indexOf("#") + 1)}`))))] : []));
  }
}

/** A card for a piece of the drawing that had none. */
function fresh(outline, cards) {
  const base = outline.slice(outline.indexOf("#") + 1).replace(/[/.]/g, "-");
  let name = base;
  for (let n = 2; cards.pieces.some((p) => p.name === name); n += 1) name = `${base}-${n}`;
  return { was: "", name, outline, drawn: "cut-line", material: "", machine: "", count: 1, mirrored: 0, allowance: {}, edges: {}, also: [] };
}
