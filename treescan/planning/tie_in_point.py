"""A candidate tie-in point with everything known about it, ready to be printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from treescan.loads.checks.load_test import LoadTest
from treescan.loads.limb_check import AnchorCheck
from treescan.reason import Reason
from treescan.throw.throw_path import Throw

Floats = NDArray[np.float64]

VERDICTS = ("candidate", "inspect first", "not ranked", "not assessable")
"""What may be said of a candidate; no word of these says that it holds."""


@dataclass(frozen=True)
class Work:
    """Where hands or instruments must get to.

    xyz : (w, 3) float [m, local]; label : tuple of str; kind : tuple of str ("prune", "deadwood", "sample", "crown" ...);
    weight : (w,) float, metres of limb or 1 per point.
    """

    xyz: Floats
    label: tuple[str, ...]
    kind: tuple[str, ...]
    weight: Floats

    def __len__(self) -> int:
        return len(self.xyz)


@dataclass(frozen=True)
class Reach:
    """How well one tie-in point serves the work.

    served : (w,) bool; angle : (w,) float rope angle from plumb [rad]; share : weighted part served in [0, 1];
    share_at : ((limit [rad], share), ...) for 30, 45 and 60 degrees; worst_angle [rad] over the served work;
    swing [m]: sideways travel of the worst slip from served work; swing_speed [m/s]; swing_hits : what the arc meets;
    swing_force [N]: peak rope force of that swing; fouled : (w,) int32 limb the straight rope meets first, -1 none.
    """

    served: NDArray[np.bool_]
    angle: Floats
    share: float
    share_at: tuple[tuple[float, float], ...]
    worst_angle: float
    swing: float
    swing_speed: float
    swing_hits: Reason
    swing_force: float
    fouled: NDArray[np.int32]


@dataclass(frozen=True)
class AccessStep:
    """One step from the ground to the tie-in point.

    union : row, None on the ground; label : str; height : of the union [m]; how : one of `access_order.WAYS_UP`, "ground" or "ascend";
    words : what is done.
    """

    union: int | None
    label: str
    height: float
    how: str
    words: Reason


@dataclass(frozen=True)
class RopePlan:
    """Metres and kit.

    length : climbing rope incl. tails; throwline; parts : ((what, metres), ...); stock : next stocked length, NaN = none is
    enough; reaches_ground : a stocked rope is long enough; kit : one item each. [m]
    """

    length: float
    throwline: float
    parts: tuple[tuple[str, float], ...]
    stock: float
    reaches_ground: bool
    kit: tuple[Reason, ...]


@dataclass(frozen=True)
class Clearance:
    """One distance to one thing.

    what : "tie-in point", "throw" ...; to : the conductor; distance, limit [m]; breach : distance below the limit; words : all of it.
    A clearance without breach is a distance, never a permission.
    """

    what: str
    to: Reason
    distance: float
    limit: float
    breach: bool
    words: Reason


@dataclass(frozen=True)
class Retrieval:
    """verdict : "yes", "doubt" or "no"; snags : labels of forks a rope end or a ring can jam in; words : why."""

    verdict: str
    snags: tuple[str, ...]
    words: Reason


@dataclass(frozen=True)
class TieInPoint:
    """One ranked candidate: a union, how it is rigged, and why.

    Attributes
    ----------
    rank : int                  1 is the first to inspect; 0 when it is not usable.
    union : int                 Row in `WoodGraph.unions`.
    label : str
    system, hardware : str
    usable : bool               False when a gate stands against it.
    verdict : str               "candidate", "inspect first", "not ranked" or "not assessable".
    reasons : tuple of Reason   Gates first, then why it stands where it stands.
    check : AnchorCheck
    throw : Throw or None       None: no throw from the ground; climb or advance to it.
    reach : Reach
    access : tuple of AccessStep
    rope : RopePlan
    scores : mapping            Criterion name to [0, 1].
    score : float               NaN when not usable.
    pareto : bool               No other usable candidate is better in every criterion.
    rank_stability : float      Share of perturbed rankings in which it stays in its place (or ties).
    tie : bool                  Cannot be told apart from the next one.
    cautions : tuple of str     Keys of `treescan.cautions.CAUTIONS` that matter most here.
    gates : tuple of Reason     What stands against it; empty when usable.
    doubts : tuple of Reason    What to look at first although it is ranked.
    place : (3,) float          Where the rope bears. [m, local]
    score_sd : mapping          Criterion name to the error of its score, from measurement alone.
    first_chance : float        Share of the perturbed rankings in which it comes first.
    clearances : tuple of Clearance     Of anchor, rope, throw and swing to every conductor known.
    retrieval : Retrieval or None       Whether the rope comes down again from the ground.
    fouling : tuple of Reason           Limbs the straight ropes meet most, with the share of the work behind them.
    care : tuple of Reason              Hardware, friction and bark at the union.
    load_test : LoadTest or None        How it might be load-tested; None where it is not ranked.
    """

    rank: int
    union: int
    label: str
    system: str
    hardware: str
    usable: bool
    verdict: str
    reasons: tuple[Reason, ...]
    check: AnchorCheck
    throw: Throw | None
    reach: Reach
    access: tuple[AccessStep, ...]
    rope: RopePlan
    scores: Mapping[str, float] = field(default_factory=dict)
    score: float = float("nan")
    pareto: bool = False
    rank_stability: float = float("nan")
    tie: bool = False
    cautions: tuple[str, ...] = ()
    gates: tuple[Reason, ...] = ()
    doubts: tuple[Reason, ...] = ()
    place: Floats = field(default_factory=lambda: np.full(3, np.nan))
    score_sd: Mapping[str, float] = field(default_factory=dict)
    first_chance: float = float("nan")
    clearances: tuple[Clearance, ...] = ()
    retrieval: Retrieval | None = None
    load_test: LoadTest | None = None
    care: tuple[Reason, ...] = ()
    fouling: tuple[Reason, ...] = ()

    @property
    def named(self) -> Reason:
        """Union and rope system, as it is called in a sentence."""
        return Reason("anchor_named", label=self.label, system=self.system)

    @property
    def name(self) -> str:
        """Union and rope system, as "U07 MRS": one row of the list by its name."""
        return f"{self.label} {self.system}"
