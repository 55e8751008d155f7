/* The desk's page: the cards are edited here, the desk's server judges and lays out. */
import { ask, bring, tell } from "./calls.js";
import { Pieces } from "./cards.js";
import { Head } from "./head.js";
import { counted, el } from "./parts.js";
import { Seams } from "./seams.js";
import { Sheets, Told } from "./told.js";

const $ = (id) => document.getElementById(id);
/** A pause after a change before it is sent, ms: quick changes go together. */
const PAUSE = 200;
const EMPTY = { text: null, files: [], pieces: {}, others: [], missing: [], sheets: [], seams: [], findings: [], cut_mm: {}, ready: false, undo: false };

const desk = {
  state: EMPTY,
  cards: null,
  busy: false,
  dirty: false,
  timer: 0,

  /** Changes the cards and, a moment later, sends them; `send` false: they aren't whole yet. */
  edit(change, send = true) {
    change(this.cards);
    this.dirty = true;
    paint();
    if (!send) return;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.push(), PAUSE);
  },

  /** Sends the cards; those that change meanwhile are sent after. */
  async push(more = {}) {
    if (this.busy) return;
    this.busy = true;
    const sent = structuredClone(this.cards);
    this.dirty = false;
    status();
    try {
      this.take(await tell("check", { cards: plain(sent), edition: this.state.edition, ...more }), sent);
      trouble(null);
    } catch (stopped) {
      trouble(stopped);
    }
    this.busy = false;
    paint();
    if (this.dirty) this.push();
  },

  /** The server's word on what was sent. */
  take(told, sent) {
    this.state = { ...this.state, ...told };
    if (this.dirty) rename(this.cards, sent, told.cards);
    else this.cards = told.cards;
    $("made").hidden = true;
  },

  /** Calls for something that changes no card; null where it is stopped, which is told. */
  async call(path, data) {
    this.busy = true;
    status();
    let told = null;
    try {
      told = await tell(path, data);
      trouble(null);
    } catch (why) {
      trouble(why);
    }
    this.busy = false;
    status();
    if (this.dirty) this.push();
    return told;
  },

  search() {
    this.push({ seconds: 10, fresh: true });
  },
};

/** Cards as the server takes them. */
function plain(cards) {
  const pieces = cards.pieces.map((p) => ({ ...p, allowance: Object.fromEntries(Object.entries(p.allowance).filter(([, v]) => v)) }));
  return { ...cards, pieces };
}

/** Names that the job file has now, on cards that were changed while it was written. */
function rename(cards, sent, told) {
  const pieces = new Map(sent.pieces.map((p, n) => [p.was || `\n${p.outline}`, told.pieces[n]?.was]));
  const seams = new Map(sent.seams.map((s, n) => [s.was || `\n${s.name}`, told.seams[n]?.was]));
  const old = new Map();
  for (const p of cards.pieces) {
    const name = pieces.get(p.was || `\n${p.outline}`);
    if (name === undefined) continue;
    old.set(p.was, name);
    p.was = name;
  }
  for (const s of cards.seams) {
    s.was = seams.get(s.was || `\n${s.name}`) ?? s.was;
    s.joins = s.joins.map((j) => {
      const [piece] = j.split(".", 1);
      return (old.get(piece) ?? piece) + j.slice(piece.length);
    });
  }
}

function trouble(stopped) {
  const told = $("trouble");
  told.hidden = stopped === null;
  if (stopped === null) return;
  const lines = (stopped.findings ?? []).map((f) => el("li", {}, `${f.line ? `line ${f.line}, ` : ""}${f.where}: ${f.what}${f.mend ? `; ${f.mend}` : ""}`));
  told.replaceChildren(`${stopped.message}. `, ...(lines.length ? [el("ul", {}, lines)] : []));
  told.scrollIntoView({ block: "nearest" });
}

function status() {
  const { state } = desk;
  const faults = state.findings.filter((f) => f.severity === "fault").length;
  const words = desk.busy ? "Working…"
    : state.text === null ? "The desk is empty"
    : state.missing.length ? `${counted(state.missing.length, "thing")} still to choose`
    : faults ? `${counted(faults, "thing")} ${faults === 1 ? "stops" : "stop"} it`
    : `${counted(state.sheets.length, "sheet")}, ready to make`;
  if ($("status").textContent !== words) {
    const there = state.findings.length || state.missing.length;
    $("status").replaceChildren(there && !desk.busy ? el("a", { href: "#noticed" }, words) : words);
  }
  $("status").className = faults && !desk.busy ? "fault" : "";
  $("cut").disabled = desk.busy || desk.dirty || !state.ready;
  $("undo").disabled = desk.busy || desk.dirty;
  $("bench").setAttribute("aria-busy", String(desk.busy));
}

const parts = {};

function paint() {
  const { state, cards } = desk;
  const there = state.text !== null;
  document.body.classList.toggle("empty", !there);
  for (const id of ["bench", "keep", "clear"]) $(id).hidden = !there;
  $("undo").hidden = !state.undo;
  $("bring-title").textContent = there ? "On the desk" : "Bring a drawing";
  $("choose").textContent = there ? "Bring more" : "Choose files";
  $("lying").replaceChildren(...state.files.map((f) => el("li", {}, f)));
  if (there) {
    parts.head.show(cards, state.shelf);
    parts.pieces.show(cards, state);
    parts.seams.show(cards, state);
    parts.told.show(cards, state);
    parts.sheets.show(cards, state);
    $("text").textContent = state.text;
  }
  status();
}

/** Calls something that gives another state, then has it judged. */
async function ask_anew(path) {
  const told = await desk.call(path);
  if (!told) return;
  desk.state = { ...EMPTY, ...told };
  desk.cards = told.cards;
  desk.dirty = false;
  $("made").hidden = true;
  if (desk.state.text !== null) await desk.push();
  else paint();
}

/** Drawings first, then the job that uses them. */
async function take(files) {
  const order = [...files].sort((a, b) => a.name.toLowerCase().endsWith(".toml") - b.name.toLowerCase().endsWith(".toml"));
  desk.busy = true;
  status();
  let stopped = null;
  for (const file of order) {
    try {
      const told = await bring(file);
      desk.state = { ...EMPTY, ...told };
      desk.cards = told.cards;
    } catch (why) {
      stopped ??= why;
    }
  }
  desk.busy = false;
  if (desk.state.text !== null) await desk.push();
  else paint();
  trouble(stopped);
}

async function cut() {
  const told = await desk.call("cut");
  if (!told) return;
  desk.state = { ...desk.state, findings: told.findings, missing: told.missing };
  paint();
  if (told.made) made(told);
}

/** The zip is there: how its proof came out, and the way to it. */
function made(told) {
  const { proof } = told;
  const link = el("a", { id: "download", class: "button main", href: "zip", download: told.made }, `Download ${told.made}`);
  $("made-title").textContent = proof.passed ? "Made, read back and proven" : "Made, but the proof failed";
  $("made-told").replaceChildren(
    el("p", {}, `No edge lies farther than ${proof.worst_mm.toFixed(4)} mm from the line that was asked for (limit ${proof.limit_mm} mm); ${counted(proof.unreached, "inside corner")} that the tool can't reach, ${proof.left_mm.toFixed(1)} mm left for the hand.`),
    el("p", {}, "Read the operator's sheet before anything moves. It is in the zip too."),
    el("p", { class: "deeds" }, link, el("a", { class: "button", href: "sheet", target: "_blank", rel: "noopener" }, "Read the operator's sheet")));
  $("made").hidden = false;
  $("made-title").focus();
  link.click();
}

function dropping() {
  const over = (on) => (event) => {
    if (![...(event.dataTransfer?.types ?? [])].includes("Files")) return;
    event.preventDefault();
    document.body.classList.toggle("over", on);
  };
  addEventListener("dragover", over(true));
  addEventListener("dragleave", over(false));
  addEventListener("drop", (event) => {
    over(false)(event);
    if (event.dataTransfer?.files.length) take(event.dataTransfer.files);
  });
}

async function begin() {
  parts.head = new Head($("head"), desk);
  parts.pieces = new Pieces($("cards"), $("others"), desk);
  parts.seams = new Seams($("seam-table"), desk);
  parts.told = new Told($("told"), desk);
  parts.sheets = new Sheets($("laid"), desk);
  $("files").addEventListener("change", async (event) => {
    await take(event.target.files);
    event.target.value = "";
  });
  $("cut").addEventListener("click", cut);
  $("clear").addEventListener("click", () => {
    if (confirm("Clear the desk? What you didn't download is gone.")) ask_anew("clear");
  });
  $("undo").addEventListener("click", () => ask_anew("undo"));
  $("close").addEventListener("click", async () => {
    if (desk.state.text !== null && !confirm("Close the desk? What you didn't download is gone.")) return;
    await tell("close").catch(() => null);
    document.body.replaceChildren(el("main", {}, el("h1", {}, "The desk is closed"), el("p", {}, "You can close this page.")));
  });
  dropping();
  try {
    const told = await ask("start");
    desk.state = { ...EMPTY, ...told };
    desk.cards = told.cards;
    paint();
  } catch (why) {
    trouble(why);
  }
}

begin();
