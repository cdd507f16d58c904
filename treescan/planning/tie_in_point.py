"""What is known of a candidate tie-in point: by itself, and among the others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from treescan.loads.checks.load_test import LoadTest
from treescan.loads.limb_check import HOLDS, IF_TESTED, WITHIN, AnchorCheck
from treescan.reason import Reason, has
from treescan.throw.throw_path import Throw

Floats = NDArray[np.float64]

VERDICTS = ("candidate", "inspect first", "not ranked", "not assessable")
"""What may be said of a candidate; no word of these says that it holds."""

CARRIES = frozenset({HOLDS, WITHIN, IF_TESTED})
"""Verdicts of the sums on which an anchor is offered before any doubtful one."""

UNSEEN = frozenset(
    {
        "scan_not_assessable",
        "height_not_seen",
        "limb_not_seen",
        "union_bridged",
        "limb_bridged",
        "diameter_not_seen",
        "strength_not_seen",
    }
)
"""Codes of the gates that only a better scan or a climber's eye can lift; one makes the verdict "not
assessable"."""

REMARKS = frozenset({"load_test_passed", "noted", "goes_with_cut"})
"""Codes of what persons stated that stands with a candidate and changes neither its verdict nor its place."""

ROUND_STEM = ", round the stem"
"""Behind the hardware of a rope that is choked round the stem instead of laid over a limb."""


@dataclass(frozen=True)
class Work:
    """Where hands or instruments must get to.

    xyz : (w, 3) float [m, local]; label : tuple of str; kind : tuple of str ("prune", "deadwood", "sample",
    "crown" ...);
    weight : (w,) float, metres of limb or 1 per point.
    """

    xyz: Floats
    label: tuple[str, ...]
    kind: tuple[str, ...]
    weight: Floats

    def __repr__(self) -> str:
        return f"Work(points={len(self)}, kinds={sorted(set(self.kind))})"

    def __len__(self) -> int:
        return len(self.xyz)


@dataclass(frozen=True)
class Reach:
    """How well one tie-in point serves the work.

    served : (w,) bool; angle : (w,) float rope angle from plumb [rad]; share : weighted part served in [0,
    1];
    share_at : ((limit [rad], share), ...) for 30, 45 and 60 degrees; worst_angle [rad] over the served work;
    swing [m]: sideways travel of the worst slip from served work; swing_speed [m/s]; swing_hits : what the
    arc meets; swing_force [N]: peak rope force of that swing; fouled : (w,) int32 limb the straight rope
    meets first, -1 none.
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

    def out_to(self, within: float, work: Work) -> Reach:
        """The same reach where the anchor holds only for work out to this rope angle [rad]: what it does not hold
        it does not serve. The slip told stays that of all the work, for a climber may stray."""
        return self.only(self.angle <= within + 1e-9, work)

    def only(self, of: NDArray[np.bool_], work: Work) -> Reach:
        """The same reach for some of the work alone, of (w,) bool: what is left out is not served. The slip told stays
        that of all the work."""
        served = self.served & of
        if np.array_equal(served, self.served):
            return self
        share = float(work.weight[served].sum() / work.weight.sum())
        return replace(
            self,
            served=served,
            share=share,
            share_at=tuple((limit, min(of, share)) for limit, of in self.share_at),
            worst_angle=float(self.angle[served].max()) if served.any() else float("nan"),
        )


@dataclass(frozen=True)
class AccessStep:
    """One step from the ground to the tie-in point.

    union : row, None on the ground; label : str; height : of the union [m]; how : one of
    `access_order.WAYS_UP`, "ground" or "ascend";
    words : what is done; line : judged line that is hung on there, as "U07 MRS" ("" = the ground, or two lanyards
    round the stem); low : low side of its margin, of the stem's for lanyards (NaN = the ground); throw : that
    sets this line from the ground, None where none does.
    """

    union: int | None
    label: str
    height: float
    how: str
    words: Reason
    line: str = ""
    low: float = float("nan")
    throw: Throw | None = None


@dataclass(frozen=True)
class RopePlan:
    """Metres and kit.

    length : climbing rope incl. tails; throwline; parts : ((what, metres), ...); stock : next stocked length,
    NaN = none is enough; reaches_ground : a stocked rope is long enough; kit : one item each. [m]
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

    what : "tie-in point", "throw" ...; to : the conductor; distance, limit [m]; breach : distance below the
    limit; words : all of it.
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
    """verdict : "yes", "doubt" or "no"; snags : labels of forks a rope end or a ring can jam in; words :
    why."""

    verdict: str
    snags: tuple[str, ...]
    words: Reason


@dataclass(frozen=True)
class Judged:
    """What the sums say of one anchor by itself, before it is held against the others.

    Attributes
    ----------
    label : str                         Of the union.
    hardware : str                      Key of `HARDWARE`, with `ROUND_STEM` behind it where the rope goes
    round the stem.
    check : AnchorCheck
    throw : Throw or None               None: no throw from the ground; climb or advance to it.
    place : (3,) float                  Where the rope bears. [m, local]
    reach : Reach
    access : tuple of AccessStep
    rope : RopePlan
    clearances : tuple of Clearance     Of anchor, rope, throw and swing to every conductor known.
    retrieval : Retrieval               Whether the rope comes down again from the ground.
    fouling : tuple of Reason           Limbs the straight ropes meet most, with the share of the work behind
    them.
    care : tuple of Reason              Hardware, friction and bark at the union; empty where something stands
    against it.
    load_test : LoadTest or None        How it might be load-tested; None where something stands against it.
    scores, score_sd : mapping          Criterion name to [0, 1], and to the error of that score from
    measurement alone.
    cautions : tuple of str             Keys of `treescan.cautions.CAUTIONS` that matter most here.
    gates : tuple of Reason             What stands against it; empty when usable.
    doubts : tuple of Reason            What to look at first although it is ranked, and what was remarked.
    """

    label: str
    hardware: str
    check: AnchorCheck
    throw: Throw | None
    place: Floats
    reach: Reach
    access: tuple[AccessStep, ...]
    rope: RopePlan
    clearances: tuple[Clearance, ...]
    retrieval: Retrieval
    fouling: tuple[Reason, ...]
    care: tuple[Reason, ...]
    load_test: LoadTest | None
    scores: Mapping[str, float]
    score_sd: Mapping[str, float]
    cautions: tuple[str, ...]
    gates: tuple[Reason, ...]
    doubts: tuple[Reason, ...]

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.name!r}, verdict={self.verdict!r})"

    @property
    def union(self) -> int:
        """Row in `WoodGraph.unions`."""
        return self.check.configuration.union

    @property
    def system(self) -> str:
        """Rope system."""
        return self.check.configuration.system

    @property
    def usable(self) -> bool:
        """False when a gate stands against it."""
        return not self.gates

    @property
    def verdict(self) -> str:
        """One of `VERDICTS`; "not assessable" as soon as the scan could not tell, whatever else stands
        against it."""
        if self.gates:
            return "not assessable" if has(self.gates, *UNSEEN) else "not ranked"
        return "inspect first" if any(d.code not in REMARKS for d in self.doubts) else "candidate"

    @property
    def holds(self) -> bool:
        """True where the sums say of a usable anchor that it holds climber and rescuer: as it is, within the stated rope
        angle, or if it passes its load test. False where it is doubtful, or holds one climber only further out."""
        return self.usable and self.check.check.verdict in CARRIES and self.check.rescued >= self.check.within - 1e-6

    @property
    def named(self) -> Reason:
        """Union and rope system, as it is called in a sentence."""
        return Reason("anchor_named", label=self.label, system=self.system)

    @property
    def name(self) -> str:
        """Union and rope system, as "U07 MRS": one row of the list by its name."""
        return f"{self.label} {self.system}"


@dataclass(frozen=True)
class Standing:
    """Where a candidate stands among the others.

    rank : 1 is the first to inspect, 0 when it is not usable; score : NaN when not usable; pareto : no other
    usable candidate is better in every criterion; rank_stability : share of perturbed rankings in which it
    stays in its place (or ties); first_chance : share of them in which it comes first; level : first and last rank
    of the row of places from which it cannot be told apart, its own among them.
    """

    rank: int
    score: float
    pareto: bool
    rank_stability: float
    first_chance: float
    level: tuple[int, int]


NOT_RANKED = Standing(0, float("nan"), False, float("nan"), float("nan"), (0, 0))


@dataclass(frozen=True, repr=False)
class TieInPoint(Judged):
    """One candidate of the list: an anchor as judged, where it stands among the others, and why.

    reasons : gates where there are any; else what to look at first, why it stands where it stands, and why
    not the one above.
    """

    standing: Standing
    reasons: tuple[Reason, ...]

    @classmethod
    def of(cls, judged: Judged, standing: Standing, reasons: tuple[Reason, ...]) -> TieInPoint:
        """An anchor with its place in the list; a place it had in another list is forgotten."""
        return cls(
            **{f.name: getattr(judged, f.name) for f in fields(Judged)}, standing=standing, reasons=reasons
        )

    @property
    def rank(self) -> int:
        """1 is the first to inspect; 0 when it is not usable."""
        return self.standing.rank

    @property
    def score(self) -> float:
        """NaN when not usable."""
        return self.standing.score

    @property
    def pareto(self) -> bool:
        """As in `Standing`."""
        return self.standing.pareto

    @property
    def rank_stability(self) -> float:
        """As in `Standing`."""
        return self.standing.rank_stability

    @property
    def first_chance(self) -> float:
        """As in `Standing`."""
        return self.standing.first_chance

    @property
    def level(self) -> tuple[int, int]:
        """As in `Standing`."""
        return self.standing.level

    @property
    def tied(self) -> bool:
        """Cannot be told apart from a neighbour in the list."""
        return self.standing.level[0] < self.standing.level[1]

    @property
    def tie(self) -> bool:
        """As in `Standing`."""
        return self.standing.level[1] > self.standing.rank
