"""A length carried from one edge to another, of the same piece or of another.

The edge or opening keeps its shape and grows or shrinks as a whole to the length; the runs beside
an edge, from corner to corner, follow its ends.  Lengths are those once darts are closed.
"""

from __future__ import annotations

from collections.abc import Mapping

from foamwright.errors import GeometryError
from foamwright.findings import Finding, fault
from foamwright.geometry.affine import IDENTITY
from foamwright.job import PieceSpec
from foamwright.job_pattern import Carry
from foamwright.stages.alter.darts import darts_kept
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern, edge_of
from foamwright.stages.alter.size import holding

#: A length carried is met to this, mm.
CARRIED = 0.01
#: Rounds after which lengths that hang on each other are given up.
MOST_ROUNDS = 20

Patterns = Mapping[str, Pattern]


def carried(
    patterns: Patterns, specs: Mapping[str, PieceSpec]
) -> tuple[dict[str, Pattern], tuple[Finding, ...]]:
    """The patterns with every length carried; rounds go on until all are met at once.

    A323: an edge that isn't there, one that can't be made so long, lengths that chase each other.
    """
    asked = [(name, c) for name, spec in specs.items() for c in spec.carry]
    made = dict(patterns)
    findings: list[Finding] = []
    for _ in range(MOST_ROUNDS):
        missed = []
        for name, carry in asked:
            try:
                wanted = edge_of(carry.from_, made).sewn + carry.ease
                if abs(made[name].edge(carry.edge).sewn - wanted) > CARRIED / 10:
                    missed.append(f"{name}.{carry.edge}")
                    longer = _made_long(made[name], carry, wanted)
                    made[name] = darts_kept(made[name], longer, specs[name])
            except (NoSuchEdgeError, GeometryError) as why:
                findings.append(_cannot(f"{name}.{carry.edge}", str(why)))
        if findings or not missed:
            return made, tuple(findings)
    chase = "lengths that are carried to and fro never settle"
    return made, tuple(_cannot(edge, chase) for edge in missed)


def _made_long(pattern: Pattern, carry: Carry, wanted: float) -> Pattern:
    """Raises NoSuchEdgeError, and GeometryError where the shape can't be had."""
    if wanted <= 0:
        raise GeometryError("no length would be left")
    run = pattern.run(carry.edge)
    factor = wanted / pattern.edge(carry.edge).sewn
    return pattern.reshaped(run.ring, holding(pattern, run.ring, [(run, factor)], IDENTITY))


def _cannot(edge: str, why: str) -> Finding:
    mend = "name edges that are there, each carried from one that doesn't hang on it"
    return fault("A323", f"carry {edge}", why, mend, piece=edge.partition(".")[0])
