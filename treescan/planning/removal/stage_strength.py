"""What does an anchor bear in the tree as it stands at one cut?

Less weight above, fewer limbs to stop a rope or to catch one: every anchor is checked anew, before the piece comes off and
after, and the worse of both is told. An anchor that was refused in the whole tree stays refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.checks.anchor import check_anchor
from treescan.loads.judging.judged import contacts_of
from treescan.loads.limb_check import FAILS, UNKNOWN, UNSEEN, VERDICTS, AnchorCheck, known
from treescan.loads.statics.structural_model import StructuralModel, after_cuts
from treescan.planning.candidates.contact import bearing_nodes
from treescan.planning.ranking.overrides import Override, strength_left
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint
from treescan.planning.work.removal import Removal, standing
from treescan.planning.work.stage_alarms import dies_with, hanging_doubts, may_hang
from treescan.reason import Reason


@dataclass(frozen=True)
class Strength:
    """One anchor in the tree as it stands at one cut.

    Attributes
    ----------
    name : str                  "U07 MRS".
    margin : Estimate           Strength over stress then, the worse of before the piece comes off and after.
    whole : Estimate            In the whole tree, with what was stated.
    governing : int             Node where it would break first then, -1 = not seen.
    catches : str               What catches first if it breaks, "ground" where nothing does.
    redundant : bool            As in `AnchorCheck`, then.
    within : float              Work out to this rope angle from plumb is what it was judged for. [rad]
    against : Reason or None    Why nobody may hang on it then.
    doubt : Reason or None      Why it must be looked at first then.
    first : bool                To be inspected first: then, or in the whole tree already.
    """

    name: str
    margin: Estimate
    whole: Estimate
    governing: int
    catches: str
    redundant: bool
    within: float
    against: Reason | None
    doubt: Reason | None
    first: bool

    @property
    def holds(self) -> bool:
        """False where nobody may hang on it then."""
        return self.against is None

    @property
    def reason(self) -> Reason:
        """The anchor with its figures, as part of a finding."""
        return Reason(
            "anchor_then", anchor=self.name, low=known(self.margin.p5), whole=known(self.whole.p5), first=self.first
        )


@dataclass(frozen=True)
class StageLoads:
    """The tree between any two cuts of a removal as loads see it.

    Attributes
    ----------
    trees : tuple of StructuralModel    Before the first cut, and after each.
    work : (w, 3) float                 Work of the plan and the places of the cuts. [m, local]
    overrides : sequence                Strength that stated defects take off is taken off here too; a passed load
        test proves nothing of another state of the tree and lifts nothing.
    known : dict                        Checks made so far, so that none is made twice.
    """

    trees: tuple[StructuralModel, ...]
    work: Floats
    overrides: Sequence[Override]
    settings: PlanningSettings
    known: dict[tuple[int, str], AnchorCheck | None] = field(default_factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        tree: StructuralModel,
        removal: Removal,
        work: Floats,
        overrides: Sequence[Override],
        settings: PlanningSettings,
    ) -> StageLoads:
        """Of the whole tree as loads see it."""
        trees = tuple(after_cuts(tree, now.left, now.gone) for now in standing(tree.graph, removal))
        places = [cut.place(tree.graph) for cut in removal.cuts]
        every = np.unique(np.vstack([np.asarray(work, float).reshape(-1, 3), *places]), axis=0)
        return cls(trees, every, overrides, settings)

    def at_cut(self, number: int, point: TieInPoint) -> Strength:
        """An anchor at one cut, 1 the first: the worse of before the piece comes off and after.

        One that goes with the piece is judged before only: hanging on it is an alarm of its own.
        """
        states = (number - 1, number)
        found = [c for c in (self._check(state, point) for state in states) if c is not None]
        whole = point.check.check.margin
        if not found:
            return Strength(
                point.name, UNKNOWN, whole, -1, "ground", False, 0.0, Reason("support_contact_gone"), None, False
            )
        worst = max(found, key=_how_bad)
        m = worst.check.margin
        against = self._against(point, worst)
        doubt = None if against is not None else self._doubt(point, worst)
        return Strength(
            point.name,
            m,
            whole,
            worst.check.governing,
            worst.catches[0].label if worst.catches else "ground",
            all(c.redundant for c in found),
            min(c.within for c in found),
            against,
            doubt,
            doubt is not None or bool(hanging_doubts(point)),
        )

    def force_after(self, cuts: int, point: TieInPoint) -> Floats | None:
        """Force on the anchor's wood in the hardest ordinary case after so many cuts, (3,); None where it is gone or not
        seen. [N]"""
        found = self._check(cuts, point)
        return found.force if found is not None and np.isfinite(found.force).all() else None

    def _check(self, state: int, point: TieInPoint) -> AnchorCheck | None:
        """The anchor after so many cuts; None where the wood it bears on is gone."""
        key = state, point.name + point.hardware
        if key not in self.known:
            self.known[key] = self._checked(state, point)
        return self.known[key]

    def _checked(self, state: int, point: TieInPoint) -> AnchorCheck | None:
        tree, configuration = self.trees[state], point.check.configuration
        if dies_with(tree.graph, point, tree.gone) or any(
            tree.gone[c.node] for c in contacts_of(tree, configuration)
        ):
            return None
        check = check_anchor(tree, configuration, self.work, narrower=True)
        left = strength_left(tree.graph, bearing_nodes(tree.graph, configuration), self.overrides)
        m = check.check.margin
        lower = Estimate(m.median * left, m.p5 * left, m.p95 * left)
        return replace(check, check=replace(check.check, margin=lower))

    def _against(self, point: TieInPoint, then: AnchorCheck) -> Reason | None:
        """Why nobody may hang on it: it was refused in the whole tree, or does not hold now."""
        if not may_hang(point):
            return next(g for g in point.gates if g.code != "serves_no_work")
        found, asked = then.check, self.settings.margin_gate
        if found.verdict in {FAILS, UNSEEN}:
            return found.reason
        if not found.margin.p5 >= asked:
            return Reason("margin_low_then", low=found.margin.p5, middle=found.margin.median, asked=asked)
        return None

    def _doubt(self, point: TieInPoint, then: AnchorCheck) -> Reason | None:
        """What must be looked at first although it holds: a low margin, or a worse verdict than in the whole tree."""
        low, whole = then.check.margin.p5, point.check.check.margin.p5
        worse = VERDICTS.index(then.check.verdict) > VERDICTS.index(point.check.check.verdict)
        if worse or low < self.settings.margin_doubt:
            return Reason("margin_doubtful_then", low=low, whole=whole, asked=self.settings.margin_doubt)
        return None


def _how_bad(check: AnchorCheck) -> tuple[int, float]:
    low = check.check.margin.p5
    return VERDICTS.index(check.check.verdict), -low if np.isfinite(low) else np.inf

