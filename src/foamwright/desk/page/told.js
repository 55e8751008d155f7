/* What was noticed, hazards and permits, and the sheets. */
import { counted, el, field, mm, picture } from "./parts.js";

const GROUPS = [["fault", "It stops here"], ["warning", "Take care"]];

export class Told {
  constructor(root, desk) {
    this.desk = desk;
    this.lists = el("div");
    this.count = el("summary");
    this.notes = el("ul", { class: "told" });
    this.folded = el("details", {}, this.count, this.notes);
    this.permits = el("div");
    root.append(this.lists, this.folded, this.permits);
  }

  show(cards, state) {
    const of = (severity) => state.findings.filter((f) => f.severity === severity);
    const missing = state.missing.length ? [el("h3", {}, "Still to choose"), el("ul", { class: "told", id: "missing" }, state.missing.map((w) => el("li", {}, w)))] : [];
    const groups = GROUPS.flatMap(([severity, title]) => {
      const mine = of(severity);
      return mine.length ? [el("h3", {}, title), el("ul", { class: "told" }, mine.map((f) => this.item(f)))] : [];
    });
    const notes = of("note");
    const quiet = !missing.length && !groups.length && !notes.length;
    this.lists.replaceChildren(...missing, ...groups, ...(quiet ? [el("p", { class: "soft" }, "Nothing was noticed. That says nothing about the sheet in your hand: the operator's sheet tells what to check.")] : []));
    this.folded.hidden = !notes.length;
    this.count.textContent = `Good to know (${notes.length})`;
    this.notes.replaceChildren(...notes.map((f) => this.item(f)));
    this.showPermits(cards, state);
  }

  item(finding) {
    const hazard = finding.code.startsWith("S") ? el("strong", {}, "Hazard. ") : null;
    const place = this.called(finding.where);
    const mend = finding.code === "S002" ? "cut it with a knife, or ask the site and enter its permit below" : finding.mend;
    const line = finding.line ? `, job file line ${finding.line}` : "";
    return el("li", { class: finding.severity }, hazard, el("b", {}, place, ": "), finding.what, mend ? `; ${mend}` : "", " ", this.links(finding), el("small", {}, `${finding.code}${line}`));
  }

  /** A pair of profiles by the names that people know. */
  called(where) {
    const { shelf } = this.desk.state;
    const [material, machine] = where.split(" on ");
    const named = (list, id) => list.find((x) => x.id === id)?.name;
    return machine && named(shelf.materials, material) && named(shelf.machines, machine) ? `${named(shelf.materials, material)}, on: ${named(shelf.machines, machine)}` : where;
  }

  /** Ways to the cards that a finding is about. */
  links(finding) {
    return finding.cards.slice(0, 12).map((name) => {
      const number = this.desk.cards.pieces.findIndex((p) => p.name === name);
      return number < 0 ? null : el("a", { class: "to-card", href: `#piece-${number}-name` }, name);
    });
  }

  /** The site's permits in the job, and a form for each pair that wants one. */
  showPermits(cards, state) {
    const wanted = [...new Set(state.findings.filter((f) => ["S002", "S003"].includes(f.code)).map((f) => f.where))];
    const key = JSON.stringify([wanted, cards.permits]);
    if (key === this.key) return;
    this.key = key;
    const held = cards.permits.map((p, n) => el("li", {}, `${p.material} on ${p.machine}: ${p.reference}, issued by ${p.issued_by} `, el("button", { type: "button", class: "small quiet", "aria-label": `Take out permit ${p.reference}`, onclick: () => this.desk.edit((c) => c.permits.splice(n, 1)) }, "Take out")));
    this.permits.replaceChildren(
      ...(held.length ? [el("h3", {}, "Permits"), el("ul", { class: "told" }, held)] : []),
      ...wanted.map((pair, k) => this.permitForm(pair, k)));
  }

  permitForm(pair, k) {
    const [material, machine] = pair.split(" on ");
    const input = (key, type = "text") => el("input", { id: `permit-${k}-${key}`, type, autocomplete: "off", maxlength: 100 });
    const fields = { issued_by: input("issued_by"), reference: input("reference"), date: input("date", "date"), expires: input("expires", "date"), data_sheet: input("data_sheet") };
    const add = () => this.desk.edit((cards) => {
      const said = Object.fromEntries(Object.entries(fields).map(([key, i]) => [key, i.value.trim()]));
      const others = cards.permits.filter((p) => p.material !== material || p.machine !== machine);
      cards.permits = [...others, { material, machine, ...said }];
    });
    return el("details", { class: "permit" }, el("summary", {}, `The site has allowed it: ${this.called(pair)}`),
      el("p", {}, "Only the person who answers for the site can allow this. Write what the permit says; it is printed on the operator's sheet."),
      el("div", { class: "fields" }, field("Issued by", fields.issued_by), field("Reference", fields.reference), field("Date", fields.date), field("Expires, if it does", fields.expires), field("Data sheet, where asked for", fields.data_sheet)),
      el("button", { type: "button", onclick: add }, "Enter the permit"));
  }
}

export class Sheets {
  constructor(root, desk) {
    Object.assign(this, { root, desk });
    this.list = el("div", { class: "sheets" });
    this.none = el("p", { class: "soft" });
    this.better = el("button", { type: "button", id: "better", onclick: () => desk.search() }, "Search 10 s for a tighter layout");
    this.paper = el("select", { id: "paper-size" }, [["a4", "A4"], ["letter", "Letter"], ["a3", "A3"], ["tabloid", "Tabloid"]].map(([v, w]) => el("option", { value: v }, w)));
    this.told = el("p", { role: "status" });
    this.papering = el("div", { class: "paper" }, el("h3", {}, "On paper"), el("p", { class: "soft" }, "The pattern at full size, over as many pages as it takes, to cut by hand or to keep."),
      el("div", { class: "deeds" }, el("label", { for: "paper-size" }, "Paper"), this.paper, el("button", { type: "button", id: "make-paper", onclick: () => this.print() }, "Make the paper pattern")), this.told);
    root.append(this.none, this.list, this.better, this.papering);
  }

  /** The pattern on paper, downloaded. */
  async print() {
    const told = await this.desk.call("paper", { size: this.paper.value });
    if (!told) return;
    const why = [...told.missing, ...told.findings.filter((f) => f.severity === "fault").map((f) => `${f.where}: ${f.what}`)];
    this.told.replaceChildren(told.made ? `${counted(told.pages, "page")}. Print at 100 %, then measure the bar on a page. ` : `There is none: ${why.join("; ")}.`);
    if (!told.made) return;
    const link = el("a", { href: "pattern", download: told.made }, `Download ${told.made}`);
    this.told.append(link);
    link.click();
  }

  show(cards, state) {
    this.papering.hidden = state.missing.length > 0;
    this.none.hidden = state.sheets.length > 0;
    this.better.hidden = state.sheets.length === 0;
    this.none.textContent = state.missing.length ? "They come when each card has its material and machine." : "None, while something stops it.";
    const key = JSON.stringify(state.sheets.map((s) => s.picture));
    if (key === this.key) return;
    this.key = key;
    this.list.replaceChildren(...state.sheets.map((sheet) => el("figure", {},
      el("figcaption", {}, el("b", {}, `Sheet ${sheet.number}: ${sheet.material}`), el("br"),
        `${sheet.machine}. ${mm(sheet.width_mm)} × ${mm(sheet.length_mm)} mm, ${counted(sheet.pieces.length, "piece")}, ${Math.round(100 * sheet.density)} % filled, ${sheet.time}${sheet.back ? ", laid face down" : ""}`),
      picture(sheet.picture),
      el("button", { type: "button", class: "small", "aria-label": `Larger: sheet ${sheet.number}`, onclick: () => this.enlarge(sheet) }, "Larger"))));
  }

  /** One sheet over the whole window; Escape or the button leads back. */
  enlarge(sheet) {
    const shut = el("button", { type: "button", onclick: () => over.close() }, "Back to the desk");
    const over = el("dialog", { "aria-label": `Sheet ${sheet.number}`, onclose: () => over.remove() }, el("p", {}, shut), picture(sheet.picture.replaceAll(`"sheet-${sheet.number}-`, `"large-${sheet.number}-`)));
    document.body.append(over);
    over.showModal();
  }
}
