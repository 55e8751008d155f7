"""The table: the files that lie on the desk, its job, and what is made of them.

Terms.  *Bring*: a drawing, a job or a desk's zip comes in.  *Check*: all that `cut` does up to
writing.  *Cut*: the files, proven, in a zip with the job, its drawings and its layout.

One table a desk, one thing at a time.  All of it lies in one temporary folder.
"""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from foamwright import pipeline
from foamwright.asked import Checks, PlanRefused, Request
from foamwright.desk import brought, shown
from foamwright.desk.brought import DRAWINGS, LAYOUT, ZIP, Unwelcome
from foamwright.desk.cards import MOST, Cards, PieceCard, cards_of
from foamwright.desk.packing import Made, packed
from foamwright.desk.rewriting import new_text, with_cards, with_harmless_outlines
from foamwright.desk.shelf import shelf_data
from foamwright.errors import FoamwrightError
from foamwright.findings import Finding, Refused, fault
from foamwright.finishing import SHEET, keep_layouts
from foamwright.inspecting import inspect
from foamwright.job import load_job, piece_names
from foamwright.job_checks import drawing_and_piece
from foamwright.job_drafts import DRAFT
from foamwright.model import Drawing, Piece
from foamwright.names import safe_name
from foamwright.profiles import Shelf
from foamwright.stages.acquire import select
from foamwright.stages.acquire.drafts import drafts
from foamwright.stages.arrange import Asked as LayoutAsked

#: Seconds for each layout search while one looks, and at most when one asks for a better layout.
LOOKING, MOST_SECONDS = 1, 60
#: Changes of the job that can be undone.
MOST_PAST = 100
#: Name of the folder of cut files in the zip.
CUT_FILES = "cut-files"

Told = dict[str, Any]


class Stale(FoamwrightError):
    """Cards that were changed from an earlier job than the one that lies here."""


@dataclass(slots=True)
class Table:
    """folder: empty, and the table's own.  text: the job, None before anything was brought.

    edition: counts its changes, so that a page can tell whether it shows the last.  past: the job
    before its last changes.
    """

    folder: Path
    text: str | None = None
    files: dict[str, int] = field(default_factory=dict)
    made: Made | None = None
    pattern: Made | None = None
    edition: int = 0
    past: list[str | None] = field(default_factory=list)
    _new: list[str] = field(default_factory=list)
    _read: dict[tuple[str, str, int], tuple[Drawing, tuple[Finding, ...]]] = field(
        default_factory=dict
    )
    _read_shelf: tuple[int, Told] | None = None
    _cards: tuple[str, Cards] | None = None
    _brought: int = 0
    _lock: threading.RLock = field(default_factory=threading.RLock)

    # ------------------------------------------------------------------ files that come in

    def bring(self, name: str, data: bytes) -> Told:
        """Takes a file in; gives what the page shows before anything is planned.

        Raises Unwelcome, or Refused where a job can't be read.
        """
        with self._lock:
            plain = brought.harmless(name)
            brought.welcome(plain, len(data), self.files)
            if plain.endswith(ZIP):
                for inner, content in brought.unpacked(plain, data):
                    self._take(inner, content)
            else:
                self._take(plain, data)
            self._card_new()
            return self.state()

    def _write_anew(self, text: str | None) -> None:
        """Another job text; the one before can be brought back."""
        if text != self.text:
            self.past = [*self.past[1 - MOST_PAST :], self.text]
            self.text = text
        self.edition += 1
        self.made = None

    def undo(self) -> Told:
        """The job as it was before its last change; files stay."""
        with self._lock:
            if self.past:
                self.text, self.past = self.past[-1], self.past[:-1]
                self.edition += 1
                self.made = None
            return self.state()

    def _take(self, name: str, data: bytes) -> None:
        place = brought.place_of(name, data)
        if not place:
            self._take_job(name, data)
            return
        brought.welcome(name, len(data), self.files)
        self._brought += 1
        self.edition += 1
        self.made = None
        there = next((n for n in self.files if n.lower() == name.lower()), name)
        file = self._home / (there if place == name else place)
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
        self.files[there] = len(data)
        if not name.endswith(DRAWINGS):
            return
        if self.text is None:
            self._write_anew(new_text(Path(name).stem))
        used = {drawing_and_piece(p.outline)[0] for p in self.cards().pieces}
        if there not in used and there not in self._new:
            self._new.append(there)

    def _take_job(self, name: str, data: bytes) -> None:
        """A job in place of the cards that are there. Raises Refused with its faults."""
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError as why:
            raise Unwelcome(f"{name}: is not UTF-8 text") from why
        draft = self.folder / name
        draft.write_text(text, encoding="utf-8", newline="\n")
        try:
            load_job(draft)
            text = with_harmless_outlines(text)
            cards_of(text)
        except ValidationError as why:
            raise Unwelcome(f"{name}: holds more than the desk can show") from why
        finally:
            draft.unlink()
        self._write_anew(text)
        self._new = []

    @property
    def _home(self) -> Path:
        folder = self.folder / "job"
        folder.mkdir(exist_ok=True)
        return folder

    def clear(self) -> Told:
        with self._lock:
            shutil.rmtree(self.folder / "job", ignore_errors=True)
            shutil.rmtree(self.folder / CUT_FILES, ignore_errors=True)
            self._write_anew(None)
            self.files, self.past, self._new = {}, [], []
            self._brought += 1
            return self.state()

    # ------------------------------------------------------------------ cards

    def cards(self) -> Cards:
        text = self.text or new_text("")
        if self._cards is None or self._cards[0] != text:
            self._cards = text, cards_of(text)
        return self._cards[1]

    def set_cards(self, cards: Cards, edition: int | None = None) -> None:
        """Writes the cards into the job. edition: the one that they were changed from.

        Raises Stale where the table has changed since.
        """
        with self._lock:
            if edition not in (None, self.edition):
                raise Stale("the desk was changed in another window: reload this page")
            if self.text is None:
                raise Unwelcome("nothing lies on the desk: bring a drawing first")
            changed = with_cards(self.text, cards)
            if changed != self.text:
                self._write_anew(changed)
            self._card_new()

    def _card_new(self) -> None:
        """A card for each piece of drawings that have none yet, once they can be read."""
        for name in tuple(self._new):
            drawing, _ = self._drawing(name)
            if not drawing.pieces:
                continue
            self._new.remove(name)
            cards = self.cards()
            if len(cards.pieces) + len(drawing.pieces) > MOST:
                raise Unwelcome(f"{name}: has {len(drawing.pieces)} pieces; {MOST} fit on the desk")
            there = [p.name for p in cards.pieces]
            names = piece_names((*there, *(p.name for p in drawing.pieces)))[len(there) :]
            fresh = tuple(
                PieceCard(name=called, outline=f"{name}#{piece.name}", drawn="cut-line")
                for piece, called in zip(drawing.pieces, names, strict=True)
            )
            more = cards.model_copy(update={"pieces": (*cards.pieces, *fresh)})
            self._write_anew(with_cards(self.text or "", more))

    def _drawing(self, name: str) -> tuple[Drawing, tuple[Finding, ...]]:
        """A drawing that lies here, read once for each unit and file that was brought."""
        units = self.cards().head.drawing_units
        key = (name, units, self._brought)
        if key not in self._read:
            self._read = {k: v for k, v in self._read.items() if k[2] == self._brought}
            self._read[key] = inspect(self._home / name, units or None, None)
        return self._read[key]

    # ------------------------------------------------------------------ what the page shows

    def state(self) -> Told:
        """Cards, pieces as drawn and the job's text; no sheet, nothing judged."""
        with self._lock:
            cards = self.cards()
            drawn = dict(self._drawn(cards))
            return {
                "edition": self.edition,
                "undo": bool(self.past),
                "text": self.text,
                "files": sorted(self.files),
                "shelf": self._shelf(),
                "cards": cards.model_dump(mode="json"),
                "pieces": {outline: shown.piece_data(p) for outline, p in drawn.items()},
                "others": list(self._others(cards)),
            }

    def _drawn(self, cards: Cards) -> Iterator[tuple[str, Piece]]:
        """The cards' pieces as drawn, by their outline, as far as they can be read."""
        made = None
        for outline in dict.fromkeys(p.outline for p in cards.pieces):
            file, name = drawing_and_piece(outline)
            piece = None
            if file in self.files:
                piece = select(self._drawing(file)[0], name)
            elif file == DRAFT:
                made = made or self._drafts()
                piece = select(made, name)
            if piece is not None:
                yield outline, piece

    def _shelf(self) -> Told:
        """What may be chosen; read again only when something was brought."""
        if self._read_shelf is None or self._read_shelf[0] != self._brought:
            self._read_shelf = self._brought, shelf_data(Shelf.of(self._home))
        return self._read_shelf[1]

    def _drafts(self) -> Drawing:
        """What the job's measures make; nothing while the job has faults."""
        try:
            return drafts(load_job(self._write()).draft)[0]
        except Refused:
            return Drawing(DRAFT, (), "mm")

    def _others(self, cards: Cards) -> Iterator[str]:
        """Pieces of the drawings that no card cuts."""
        used = {p.outline for p in cards.pieces}
        for file in sorted(self.files):
            if file.endswith(DRAWINGS):
                names = (f"{file}#{p.name}" for p in self._drawing(file)[0].pieces)
                yield from (n for n in names if n not in used)

    # ------------------------------------------------------------------ checking and cutting

    def check(self, seconds: int = LOOKING, fresh: bool = False) -> Told:
        """The state with sheets, seams and every finding. seconds: for each layout search."""
        with self._lock:
            cards = self.cards()
            missing = list(_missing(cards))
            sheets: list[Told] = []
            sizes: Told = {}
            findings: tuple[Finding, ...] = ()
            checks = Checks()
            if missing:
                findings = self._noticed_in_drawings(cards)
            else:
                try:
                    planned = pipeline.plan(self._request(cards, seconds, fresh))
                    keep_layouts(planned)
                    sheets, findings = shown.plan_data(planned), planned.findings
                    checks, sizes = planned.checks, shown.cut_sizes(planned)
                except PlanRefused as why:
                    findings, checks = why.findings, why.checks
                except Refused as why:
                    findings = why.findings
            return {
                **self.state(),
                "missing": missing,
                "ready": bool(sheets),
                "sheets": sheets,
                "cut_mm": sizes,
                "seams": [shown.seam_data(row) for row in checks.seams],
                "findings": shown.findings_data(findings, cards),
            }

    def cut(self) -> Told:
        """Makes the zip that `made` then holds; gives the state, the proof and every finding."""
        with self._lock:
            cards = self.cards()
            self.made = None
            proof: Any = None
            missing = list(_missing(cards))
            findings: tuple[Finding, ...] = ()
            if not missing:
                out = self.folder / CUT_FILES
                shutil.rmtree(out, ignore_errors=True)
                try:
                    result = pipeline.cut(self._request(cards, LOOKING, False), out)
                    proof, findings = result.record.verification, result.findings
                    self.made = self._zipped(cards, out)
                except Refused as why:
                    findings = why.findings
            return {
                "missing": missing,
                "made": self.made.name if self.made else None,
                "proof": shown.proof_data(proof) if proof else None,
                "findings": shown.findings_data(findings, cards),
            }

    def paper(self, size: str) -> Told:
        """The pattern on paper of a size, which `pattern` then holds; and what was noticed."""
        with self._lock:
            cards = self.cards()
            self.pattern, pages = None, 0
            findings: tuple[Finding, ...] = ()
            missing = list(_missing(cards))
            if not missing:
                stem = safe_name(cards.head.name).lower()
                file = self.folder / f"{stem}-{size}.pdf"
                file.unlink(missing_ok=True)
                try:
                    request = self._request(cards, LOOKING, False)
                    pages, findings = pipeline.paper(request, size, file)
                    self.pattern = Made(file.name, file.read_bytes())
                except Refused as why:
                    findings = why.findings
            return {
                "missing": missing,
                "made": self.pattern.name if self.pattern else None,
                "pages": pages,
                "findings": shown.findings_data(findings, cards),
            }

    def job_zip(self) -> Made:
        """The job alone with its drawings and its layout, to go on another day."""
        with self._lock:
            if self.text is None:
                raise Unwelcome("nothing lies on the desk: bring a drawing first")
            self._write()
            return self._zipped(self.cards(), None)

    def _write(self) -> Path:
        file = self._home / "job.toml"
        file.write_text(self.text or "", encoding="utf-8", newline="\n")
        return file

    def _request(self, cards: Cards, seconds: int, fresh: bool) -> Request:
        """The command's own request. Raises Refused where the job asks for what isn't here."""
        outside = tuple(self._outside(cards))
        if outside:
            raise Refused(outside)
        return Request(self._write(), layout=LayoutAsked(min(seconds, MOST_SECONDS), fresh=fresh))

    def _outside(self, cards: Cards) -> Iterator[Finding]:
        """What lies on no desk: files that weren't brought, profiles named by a path."""
        here = {*self.files, DRAFT, ""}  # a core that is derived has no drawing
        names = [drawing_and_piece(p.outline)[0] for p in cards.pieces]
        for name in dict.fromkeys(n for n in names if n not in here):
            yield fault("R001", name, "does not lie on the desk", "bring it too")
        used = [w for p in cards.pieces for w in (p.material, p.machine)]
        for word in dict.fromkeys((cards.head.machine, *used)):
            if set(word) & set("/\\") or word.endswith(".toml"):
                mend = "put it on your own shelf, or choose from the list"
                yield fault("J511", f"profile {word}", "the desk reads no profile by a path", mend)

    def _noticed_in_drawings(self, cards: Cards) -> tuple[Finding, ...]:
        used = {drawing_and_piece(p.outline)[0] for p in cards.pieces} | set(self._new)
        read = [self._drawing(n)[1] for n in sorted(used) if n in self.files]
        return tuple(f for findings in read for f in findings)

    def _zipped(self, cards: Cards, out: Path | None) -> Made:
        """The job with its drawings, profiles and layout, and the cut files where there are any."""
        stem = safe_name(cards.head.name).lower()
        used = {drawing_and_piece(p.outline)[0] for p in cards.pieces}
        names = ["job.toml", f"{stem}{LAYOUT}", *sorted(used & self.files.keys())]
        own = sorted(self._home.glob("profiles/**/*.toml"))
        names += [f.relative_to(self._home).as_posix() for f in own]
        files = [(n, self._home / n) for n in names if (self._home / n).is_file()]
        if out is None:
            return Made(f"{stem}-job.zip", packed(stem, files))
        files += [(f"{CUT_FILES}/{f.name}", f) for f in sorted(out.iterdir()) if f.is_file()]
        return Made(f"{stem}.zip", packed(stem, files), (out / SHEET).read_bytes())


def _missing(cards: Cards) -> Iterable[str]:
    """What must still be chosen before there is anything to check."""
    if not cards.pieces:
        yield "bring a drawing with at least one closed outline"
    size = cards.head.size
    if size.kind == "fit" and not size.to.strip():
        yield f"say what {size.piece} is to come to"
    for piece in cards.pieces:
        if not piece.material:
            yield f"choose a material for {piece.name}"
        if not (piece.machine or cards.head.machine):
            yield f"choose a machine for {piece.name}"


__all__ = ["CUT_FILES", "LOOKING", "MOST_SECONDS", "Stale", "Table"]
