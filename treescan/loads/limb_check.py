"""Will it hold? Strength over stress on every section from the rope down to the ground."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from treescan.estimate import Estimate
from treescan.loads.hidden_defects import HIDDEN, UNTESTED, chance_told
from treescan.reason import Reason
from treescan.short_repr import ShortRepr

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

HOLDS, WITHIN, IF_TESTED, DOUBTFUL, FAILS, UNSEEN = VERDICTS = (
    "holds",
    "holds within angle",
    "holds if tested",
    "doubtful",
    "does not hold",
    "not seen",
)
"""Verdicts of a check, the best first; nothing turns `UNSEEN` into a number, and no proof lifts `FAILS`."""

UNKNOWN = Estimate(float("nan"), float("nan"), float("nan"))
"""A margin that the scan cannot tell."""


def known(value: float) -> float | None:
    """A figure for a `Reason`: None where the scan did not give it."""
    return float(value) if np.isfinite(value) else None


def limb_named(limb: int) -> Reason:
    """The stem (limb 0) or a limb by its number, as part of a finding."""
    return Reason("stem_itself") if limb == 0 else Reason("limb_itself", limb=int(limb))


MIN_LEVER = 0.5
"""Least distance of a rope from the parent's bark, in limb diameters, where the settings say nothing else."""


@dataclass(frozen=True)
class AnchorConfiguration:
    """One way to anchor over one union: what planning asks loads to judge.

    Attributes
    ----------
    union : int                 Row in `WoodGraph.unions`.
    system : str                "MRS", "SRS canopy" or "SRS basal".
    hardware : str              Key of `loads.rope_systems.HARDWARE` ("rope on bark", "sleeve", "ring",
        "pulley").
    rest_node : int             Graph node (segment child) of the limb the rope bears on at the union.
    rest_distance : float       Of the rope from the union's axis along that limb. [m]
    via : (c,) int32            Further support nodes between the union and the base anchor, from the union
        outward (basal only).
    base : (3,) float           Base anchor (basal) or stance. [m, local]
    tied_to : str               Name of what a basal line is tied to; "" = the foot of the own stem.
    beyond : (b,) int32         Further support nodes between the union and the climber, from the union
        outward (basal only): the climber hangs from the last of them.
    min_lever : float           Least distance of the rope from the parent's bark, in limb diameters.
    """

    union: int
    system: str
    hardware: str
    rest_node: int
    rest_distance: float
    via: Ints
    base: Floats
    tied_to: str = ""
    beyond: Ints = field(default_factory=lambda: np.zeros(0, np.int32))
    min_lever: float = MIN_LEVER

    @cached_property
    def key(self) -> tuple[object, ...]:
        """All of it, to be compared."""
        nodes = tuple(np.asarray(self.via).tolist()), tuple(np.asarray(self.beyond).tolist())
        place = tuple(np.asarray(self.base, float).tolist())
        rest = int(self.rest_node), float(self.rest_distance)
        return (self.union, self.system, self.hardware, *rest, *nodes, place, self.tied_to, self.min_lever)


@dataclass(frozen=True)
class PassedTest:
    """What a load test of one size in the set-up and direction of use would show, if it is passed.

    size : float            Pull over the hardest of ordinary use; pull : at the climber's end of the rope [N].
    people : float          Hanging still on the rope to make that pull, not rounded.
    moment : float          Bending of the governing section, its own weight included. [N m]
    moment_share : float    Over that in the hardest ordinary use: less than `size`, for the own weight does not grow.
    low : float             Low side of strength over stress in ordinary use afterwards.
    overload_chance : float Chance that sound wood is overloaded afterwards.
    """

    size: float
    pull: float
    people: float
    moment: float
    moment_share: float
    low: float
    overload_chance: float


@dataclass(frozen=True)
class Borne:
    """What the wood has borne before, as far as it was bent the way the climb bends it; beside the verdict, never in it.

    years : int             Of wind that count.
    gust : float            Mean of the strongest gust of a year at the tree. [m/s]
    share : Estimate        The most it has borne in the plane and direction of the hardest ordinary use, over that use.
    low : float             Low side of strength over stress in ordinary use, given that it stood.
    overload_chance : float Chance that sound wood is overloaded, given that.
    rain, snow : bool       Rain on its leaves, and snow that was seen, count as well.
    """

    years: int
    gust: float
    share: Estimate
    low: float
    overload_chance: float
    rain: bool = False
    snow: bool = False


@dataclass(frozen=True)
class LimbCheck:
    """Sections from the contact down to the ground under the governing load case.

    Attributes
    ----------
    nodes : (s,) int32          Section nodes, contact first, ground last.
    moment, torsion, axial, shear : (s,) float      [N m], [N m], [N], [N]
    stress, strength : (s,) float                   Median bending-equivalent stress and strength. [Pa]
    utilisation : (s,) float    Median stress over strength.
    margin : Estimate           Of the governing section: strength over stress; NaN = not seen.
    governing : int             Node where it would break first.
    mode : str                  "bending", "compression", "torsion", "shear", "union tear-out" or
        "splitting lengthwise".
    self_weight_share : float   Part of the governing section's capacity used by the wood's own weight.
    deflection : float          Of the tie-in point. [m]
    sources : tuple of str      Keys of `treescan.sources`.
    verdict : str               One of `VERDICTS`.
    reason : Reason             Why that verdict.
    overload_chance : float     That stress exceeds the strength of sound wood. NaN = not seen.
    slope_change : float        Turning of the wood at the tie-in point under the load ("lively"). [rad]
    notes : tuple of Reason     What the reader must know beside the numbers: what is not judged, one-sided
        scans, and so on.
    lively : bool               True where the tie-in point gives way or turns by more than the settings call
        stiff.
    tested : tuple of PassedTest    What load tests would show, if passed, the lighter first; () where no test
        can help: it does not hold, or was not seen.
    proof : str                 One of `hidden_defects.PROOFS`: what was done before use.
    borne : Borne or None       What it has borne before; None where nothing counts.
    """

    nodes: Ints
    moment: Floats
    torsion: Floats
    axial: Floats
    shear: Floats
    stress: Floats
    strength: Floats
    utilisation: Floats
    margin: Estimate
    governing: int
    mode: str
    self_weight_share: float
    deflection: float
    sources: tuple[str, ...]
    verdict: str
    reason: Reason
    overload_chance: float
    slope_change: float
    notes: tuple[Reason, ...]
    lively: bool
    tested: tuple[PassedTest, ...]
    proof: str = UNTESTED
    borne: Borne | None = None

    @property
    def sound_chance(self) -> float:
        """Chance that sound wood is overloaded in ordinary use, with what it has borne counted in; NaN = not seen."""
        return self.overload_chance if self.borne is None else min(self.overload_chance, self.borne.overload_chance)

    @property
    def chance_told(self) -> float:
        """Chance that the anchor breaks in ordinary use, with what no scan sees counted in; NaN = not seen."""
        return chance_told(self.sound_chance, self.proof)

    @property
    def hidden_is_larger(self) -> bool:
        """True where what no scan sees is the larger part of that chance."""
        return HIDDEN[self.proof] > self.sound_chance


@dataclass(frozen=True)
class Catch:
    """What the rope lands on next when the support above gives out; the ground when `union` is None.

    union : row, -1 for a limb without a union row, None for the ground; label : str; slide, drop : float [m];
        peak : float
    [N]; margin : Estimate under that peak; reason : Reason, how it comes about.
    """

    union: int | None
    label: str
    slide: float
    drop: float
    peak: float
    margin: Estimate
    reason: Reason

    @property
    def ground(self) -> bool:
        """True when nothing catches."""
        return self.union is None


@dataclass(frozen=True)
class Exceptional:
    """What an abrupt stop or a swing would do: the same wood under the hardest case that is no ordinary use.

    Attributes
    ----------
    case : str                  Its name.
    worst_work_point : int      Row of the work points it comes from, -1 = straight below.
    force : (3,) float          On the wood at the union. [N]
    multiple_of_weight : float  |force| over the climber's weight: the whole shock, not only the rope's
        geometry.
    margin : Estimate           Strength over stress of the weakest section.
    overload_chance : float     That stress exceeds the strength of sound wood.
    governing : int             Node where it would break.
    mode : str                  As in `LimbCheck`.
    asked : (float, float)      What the settings ask of the margin's low side, below which it is doubtful at best,
        and of its middle, below which it does not hold.
    """

    case: str
    worst_work_point: int
    force: Floats
    multiple_of_weight: float
    margin: Estimate
    overload_chance: float
    governing: int
    mode: str
    asked: tuple[float, float]

    @property
    def low(self) -> bool:
        """True where the low side is below what is asked."""
        return not self.margin.p5 >= self.asked[0]

    @property
    def breaks(self) -> bool:
        """True where the middle is below what is asked, or not known."""
        return not self.margin.median >= self.asked[1]

    @property
    def chance_told(self) -> float:
        """Chance that it breaks then, with what no scan sees counted in; no test in ordinary use lowers it."""
        return chance_told(self.overload_chance)


@dataclass(frozen=True)
class Break:
    """One place where the anchor may give way, and all that follows.

    kind : str                  "limb", "union tear-out" or "stem" (above the lowest limb).
    node : int                  Of the section that gives way; all above it goes.
    use : float                 Its median stress over strength under the hardest case.
    reason : Reason             What gives way, what goes with it, and why nothing holds the climber then,
        where that is so.
    catches : tuple of Catch    As in `AnchorCheck`; redundant : bool, common_cause : Reason or None likewise,
        for this break.
    likely : bool               Among the likely first breaks; the others are told besides, so that what follows when
        this limb or union goes stands apart from what follows when the stem goes.
    """

    kind: str
    node: int
    use: float
    reason: Reason
    catches: tuple[Catch, ...]
    redundant: bool
    common_cause: Reason | None
    likely: bool = True


@dataclass(frozen=True, repr=False)
class AnchorCheck(ShortRepr):
    """All of loads' answer for one `AnchorConfiguration`. The load and the margin are those of ordinary use,
    two people in a rescue included.

    Attributes
    ----------
    configuration : AnchorConfiguration
    force : (3,) float          On the wood at the union, governing case. [N]
    multiple_of_weight : float  |force| over the rope's pull at the climber, governing case: what the
        configuration makes of the weight of a climber who hangs still; not the force over the weight.
    case : str                  Name of the governing load case.
    worst_work_point : int      Row of the work points it was governed by, -1 = straight below.
    contact_forces : (c, 3)     Force at every contact: the union, then `configuration.via`, then
        `configuration.beyond`. [N]
    friction_multiple : float   The same with the middle friction value: information only.
    check : LimbCheck           The least margin over all contacts.
    catches : tuple of Catch    The failure chain of the likeliest break, down to the last catch or the
        ground.
    redundant : bool            After every likely break a later limb holds the climber above the ground with
        margin, from where the pull is hardest and from the highest, the farthest-out and the lowest work.
    common_cause : Reason or None   Which single wood carries both main anchor and back-up.
    exceptional : Exceptional   The same under an abrupt stop or a swing; None where none was asked for or
        nothing was seen.
    cases : tuple of str        Ordinary cases that were tried.
    breaks : tuple of Break     Every likely break with its own chain, the likeliest first; then those told besides.
    rope_slip : float           How far out along its limb the rope can run under a pull from the side: judged
        there under that pull, and where it was laid under all. [m]
    contact_turns : (c,)        Turning of the rope on every contact, in the order of `contact_forces`; NaN
        where it is choked. [rad]
    outer : Estimate or None    Margin of the weakest wood that carries `configuration.beyond` and not the
        union; None where there is none.
    within : float              Work out to this rope angle from plumb is what all above was judged for. [rad]
    rescued : float             It holds a rescuer beside the climber out to `within` or to this angle, whichever is less;
        0: one climber only, and two people hanging still. [rad]
    """

    configuration: AnchorConfiguration
    force: Floats
    multiple_of_weight: float
    case: str
    worst_work_point: int
    contact_forces: Floats
    friction_multiple: float
    check: LimbCheck
    catches: tuple[Catch, ...]
    redundant: bool
    common_cause: Reason | None
    exceptional: Exceptional | None
    cases: tuple[str, ...]
    breaks: tuple[Break, ...]
    rope_slip: float
    outer: Estimate | None
    contact_turns: Floats
    within: float
    rescued: float = float("inf")

    @property
    def one_climber_only(self) -> bool:
        """True where a rescuer needs a line on other wood."""
        return self.rescued <= 0.0

    @property
    def two_people_within(self) -> float:
        """Rope angle out to which it holds two people; 0 = at none. [rad]"""
        return min(self.within, self.rescued)
