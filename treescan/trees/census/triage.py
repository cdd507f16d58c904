"""What is the scan of a tree fit for? Told from the rough look, before anything is measured closely."""

from __future__ import annotations

from dataclasses import dataclass

from treescan.reason import Reason
from treescan.trees.census.look_through import FoundTree
from treescan.trees.single_tree import TOO_SPARSE

FULL, MAIN, OUTLINE, NOTHING = (
    "full plan",
    "main unions only",
    "outline only",
    "not assessable",
)
FIT = (FULL, MAIN, OUTLINE, NOTHING)
"""From the best to none."""
FINE = 0.05
"""Points this close together show limbs of climbing size all round: five across a limb of 0.2 m (project
choice). [m]"""
SEEN_ROUND = 3.0
"""Part of the stem's round that must be seen for a full plan: from two sides (project choice). [rad]"""
OUTLINED = 1.5
"""Sparser scans do not show the height of a crown (project choice). [m]"""
FEWEST = 15
"""Points of the thinned cloud without which nothing is told."""


@dataclass(frozen=True)
class Triage:
    """What the scan of a tree is fit for (one of `FIT`), why it is no more, and what a rescan needs."""

    fit: str
    why: tuple[Reason, ...]
    rescan: tuple[Reason, ...] = ()

    @property
    def planned(self) -> bool:
        """Whether a close look makes sense."""
        return self.fit in (FULL, MAIN)


def triage(tree: FoundTree) -> Triage:
    """Sort one tree."""
    if tree.points < FEWEST or tree.spacing > OUTLINED:
        few = Reason("triage_few_points", points=tree.points, spacing=tree.spacing)
        return Triage(NOTHING, (few,), _wanted(tree))
    if tree.hidden:
        return Triage(OUTLINE, (Reason("triage_no_stem"),), _wanted(tree))
    if tree.cut:
        fit = OUTLINE if tree.spacing > TOO_SPARSE else MAIN
        return Triage(fit, (Reason("triage_cut"),), _wanted(tree))
    if tree.spacing > TOO_SPARSE:
        return Triage(OUTLINE, (Reason("triage_sparse", spacing=tree.spacing),), _wanted(tree))
    why = []
    if tree.spacing > FINE:
        why.append(Reason("triage_coarse", spacing=tree.spacing))
    if tree.by_crown or tree.dbh != tree.dbh:
        why.append(Reason("triage_no_stem"))
    elif tree.arc < SEEN_ROUND:
        why.append(Reason("triage_one_side", arc=tree.arc))
    return Triage(MAIN, tuple(why), _wanted(tree)) if why else Triage(FULL, ())


def _wanted(tree: FoundTree) -> tuple[Reason, ...]:
    """What a rescan needs."""
    wanted = [Reason("rescan_beyond_edge")] if tree.cut else []
    wanted.append(Reason("rescan_tripod", stations=4 if tree.height > 15 else 3))
    return tuple(wanted)
