"""Pieces that a job cuts by hand: they have a paper pattern with their marks, and no cut file.

Does not draw the pattern (`papering.py`).
"""

from __future__ import annotations

from dataclasses import replace

from foamwright.asked import AskedJob, use_of_pair
from foamwright.findings import Finding, Refused, fault, note
from foamwright.safety import assess


def leave_to_hand(asked: AskedJob) -> tuple[AskedJob, tuple[Finding, ...]]:
    """The job without what is cut by hand, which is told (J552), with the rules on it.

    Where nothing is left that is a fault: there is no file to make.
    """
    uses = {}
    names = []
    for spec in asked.specs:
        try:
            machine = asked.shelf.machine(asked.machine_of(spec))
            if machine.profile.method != "hand":
                continue
            names.append(spec.name)
            uses[spec.material] = use_of_pair(
                asked.material_on(spec.material, asked.machine_of(spec)), machine
            )
        except Refused:
            continue  # the bench tells why
    if not names:
        return asked, ()
    cautions = assess(uses.values(), asked.job.permit, asked.rules, asked.request.today)
    left = replace(asked, by_hand=frozenset(names))
    made = note if left.specs else fault
    what = "cut by hand: they have no cut file" if len(names) > 1 else "cut by hand: no cut file"
    mend = "foamwright paper makes their pattern, with its marks"
    return left, (made("J552", f"piece {', '.join(names[:12])}", what, mend), *cautions)
