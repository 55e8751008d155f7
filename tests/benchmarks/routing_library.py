"""A long run of a general routing library on the sheets of `travel_sheets`.

    pip install ortools
    python -m tests.benchmarks.routing_library [seconds]

prints the best travel that it finds for each sheet, under the same constraints: operations follow
each other, each contour is run once by one of its entries, and the way ends anywhere.  The figures
stand in `travel_sheets.py`.  Its guided local search works on nodes, and on groups of nodes of
which one is visited; entries are then made the best for its sequence, and the sequence is searched
again for those entries, from its own start and from ours.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path as File

import numpy as np
from ortools.constraint_solver import pywrapcp, routing_enums_pb2

from foamwright.model import OPERATIONS
from foamwright.stages.order import HOME, order, units
from foamwright.stages.order.sequence import Unit, Visit, entered, travel
from tests.benchmarks.travel_sheets import SHEETS, TOOL, cuts_of, travelled

#: Entries of each contour that the search over entries is given: the library bears some thousands
#: of nodes.
ENTRIES = 6
#: Micrometres: a leg that goes back to an earlier operation, and a contour left out.
FORBIDDEN = 10**9


def searched(nodes: Sequence[Visit], groups: Sequence[int], seconds: int) -> list[int]:
    """One node of each group in the best sequence found; distances in whole micrometres."""
    n = len(nodes)
    starts = np.array([*(v.start for v in nodes), HOME, HOME])
    ends = np.array([*(v.end for v in nodes), HOME, HOME])
    inside = np.array([*(float(v.unit.between[v.choice]) for v in nodes), 0.0, 0.0])
    legs = np.rint(1000 * (np.abs(starts[None, :] - ends[:, None]) + inside)).astype(np.int64)
    legs[:, n + 1] = 0
    rank = [*(OPERATIONS.index(v.unit.cuts[0].operation) for v in nodes), -1, len(OPERATIONS)]
    legs[np.array(rank)[:, None] > np.array(rank)[None, :]] = FORBIDDEN
    manager = pywrapcp.RoutingIndexManager(n + 2, 1, [n], [n + 1])
    model = pywrapcp.RoutingModel(manager)
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(legs.tolist()))
    members: dict[int, list[int]] = {}
    for i, g in enumerate(groups):
        members.setdefault(g, []).append(manager.NodeToIndex(i))
    if len(members) < n:
        for alike in members.values():
            model.AddDisjunction(alike, FORBIDDEN)
    asked = pywrapcp.DefaultRoutingSearchParameters()
    asked.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    asked.local_search_metaheuristic = (
        routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    )
    asked.time_limit.seconds = seconds
    found = model.SolveWithParameters(asked)
    way, at = [], found.Value(model.NextVar(model.Start(0)))
    while not model.IsEnd(at):
        way.append(manager.IndexToNode(at))
        at = found.Value(model.NextVar(at))
    assert len(way) == len(members)
    return way


def with_entries(contours: Sequence[Unit], seconds: int) -> list[Visit]:
    """Sequence and entries at once, from nothing."""
    nodes, groups = [], []
    for k, u in enumerate(contours):
        spread = np.linspace(0, len(u.starts) - 1, min(ENTRIES, len(u.starts))).round()
        nodes += [Visit(u, int(i)) for i in spread]
        groups += [k] * len(spread)
    way = searched(nodes, groups, seconds)
    return entered([nodes[i].unit for i in way], HOME)


def in_sequence(way: Sequence[Visit], seconds: int) -> list[Visit]:
    """The sequence for these entries, then the best entries for it."""
    found = searched(way, range(len(way)), seconds)
    return entered([way[i].unit for i in found], HOME)


def main(seconds: int) -> None:
    for name, made in SHEETS.items():
        with tempfile.TemporaryDirectory() as folder:
            sheet = made(File(folder))
        cuts = cuts_of(sheet)
        given = units(cuts)
        ours = order(cuts, sheet, TOOL).cuts
        print(f"{name}: {len(given)} contours, ours {travelled(ours):.0f} mm", flush=True)
        cold = with_entries(given, seconds)
        print(f"  from nothing {travel(cold, HOME):.0f}", flush=True)
        place = {(c.copy, c.contour): i for i, c in reversed(list(enumerate(ours)))}
        ranked = sorted(given, key=lambda u: place[u.copy, u.cuts[0].contour])
        warm = entered(ranked, HOME)
        best = [travel(cold, HOME)]
        for start in (cold, warm):
            way = start
            for _ in range(2):
                way = in_sequence(way, seconds)
                best.append(travel(way, HOME))
                print(f"  sequence, then entries {best[-1]:.0f}", flush=True)
        print(f"  best {min(best):.0f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
