"""The pattern for other shops: which pieces, and the file with what the record tells of it."""

from __future__ import annotations

from pathlib import Path

from foamwright.asked import AskedJob, Plan
from foamwright.exchange import PatternPiece
from foamwright.planning import ALLOWANCE_TOLERANCE
from foamwright.record import ExchangeEntry
from foamwright.stages.alter import Drafts, exchanged


def exchange_pieces(asked: AskedJob, drafts: Drafts) -> tuple[PatternPiece, ...]:
    """The wanted pieces as other shops take them; none where the job doesn't ask for it."""
    if asked.exchange is None:
        return ()
    wanted = (drafts[s.name] for s in asked.specs if s.name in drafts)
    return tuple(exchanged(d, ALLOWANCE_TOLERANCE) for d in wanted)


def write_exchange(planned: Plan, folder: Path) -> tuple[ExchangeEntry | None, dict[str, str]]:
    """The exchange file into a folder, where it is asked for: its entry, and its hash by name."""
    from foamwright.stages.save.exchange import exchange_entry, exchange_text
    from foamwright.stages.save.publish import write_file
    from foamwright.stages.save.record import sha256

    units = planned.asked.exchange
    if units is None:
        return None, {}
    name = f"{planned.asked.stem}-pattern-exchange.dxf"
    text = exchange_text(planned.asked.job.job.name, planned.patterns, units)
    write_file(folder, name, text)
    entry = exchange_entry(name, planned.patterns, units)
    return entry, {name: sha256(text.encode("ascii"))}
