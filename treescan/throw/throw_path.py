"""One answer to "from where, how, and with what chance can a line be set over this union?"."""

from __future__ import annotations

from dataclasses import dataclass

from treescan.arrays import Floats, Floats32, Ints32
from treescan.reason import Reason

ISOLATION = {1: "line_isolated", 2: "line_isolable", 3: "line_several"}
"""Isolation classes: only the wanted limb between the legs; others can be cleared by working the bag back; over several limbs."""

STEM, THIN_LIMBS = "the_stem", "thin_limbs"
"""What stands in `Throw.captured_unions` for a limb that leaves no union."""


@dataclass(frozen=True)
class Stances:
    """Standing places.

    xyz : (s, 3) float          Feet of the thrower on the terrain. [m, local]
    open_sky : (s,) bool        False where the release point is in foliage or wood: kept out of the search.
    refused : tuple of (Reason, count)     Why grid places were left out.
    """

    xyz: Floats
    refused: tuple[tuple[Reason, int], ...] = ()

    def __repr__(self) -> str:
        return f"Stances(places={len(self)})"

    def __len__(self) -> int:
        return len(self.xyz)


@dataclass(frozen=True)
class Aim:
    """Where and how one aims: azimuth clockwise from north [rad], elevation [rad], speed [m/s]."""

    azimuth: float
    elevation: float
    speed: float


@dataclass(frozen=True)
class Throw:
    """The best aim at one union from the best place, for one isolation class.

    Attributes
    ----------
    union : int                 Row in `WoodGraph.unions`.
    isolation_class : int       1, 2 or 3.
    stance : int                Row in `Stances`.
    stand : (3,) float          [m, local]
    method : str                "hand", "two_hand" or "launcher" (`settings.METHODS`).
    azimuth, elevation : float  Aim; azimuth clockwise from the y axis (north). [rad]
    speed : float               At release. [m/s]
    chance : float              That one throw at this aim gives this class or better, dispersion included.
    path : (k, 3) float         Flight of the nominal throw. [m, local]
    settled : (q, 3) float      Taut line over the supports, near end first. [m, local]
    rest : (3,) float           Where the line bears on the wanted limb. [m, local]
    rest_distance : float       From the union's axis along the limb, after sliding. [m]
    slides : bool               True if it slides to the union by itself (slope above the friction angle).
    supports : (c,) int32       Graph nodes (segment child nodes) the settled line bears on, outermost (near end) first, the wanted one included.
    captured : (d,) int32       Limbs between the legs besides the wanted one, outermost first.
    captured_unions : tuple     Labels of the unions those limbs leave from, outermost first; `STEM` and `THIN_LIMBS` leave none.
    workings : int              0, 1 or 2 times the weight must be worked back.
    min_weight : float        That comes down by itself on rough bark, both legs plumb. [kg]
    steps : tuple of Reason     What a person does, in order.
    pace : (3,) float           Time for getting ready at the place, for one throw with getting the line back, and for working the weight
                                back once; settings of the method, no published figure. [s]
    over_crown : bool           The flight passes over all wood in its plane and comes down beyond it.
    """

    union: int
    isolation_class: int
    stance: int
    stand: Floats
    method: str
    azimuth: float
    elevation: float
    speed: float
    chance: float
    path: Floats
    settled: Floats
    rest: Floats
    rest_distance: float
    slides: bool
    supports: Ints32
    captured: Ints32
    captured_unions: tuple[str, ...]
    workings: int
    min_weight: float
    steps: tuple[Reason, ...]
    pace: tuple[float, float, float] = (60.0, 90.0, 240.0)
    over_crown: bool = False

    def __repr__(self) -> str:
        return f"Throw(union={self.union}, method={self.method!r}, chance={self.chance:.3f})"

    @property
    def expected_seconds(self) -> float:
        """Getting ready, the expected throws, and the workings; inf when there is no chance. [s]"""
        ready, each, working = self.pace
        return ready + each * self.expected_throws + working * self.workings

    @property
    def expected_throws(self) -> float:
        """1 / chance; inf when there is none."""
        return 1.0 / self.chance if self.chance > 0 else float("inf")


@dataclass(frozen=True)
class ThrowTable:
    """All throws of one tree. Map, best place and best method tell one story.

    The best throw of a union and class is the one with the least expected time over all places and methods. The map of that union and
    class is the chance of one throw by the same method from every place, so its highest place is where the best throw stands.

    Attributes
    ----------
    stances : Stances
    best : mapping (union row, class) to Throw, only where the chance is above the setting's floor
    chance : (m, s, 3) float32  Chance of one throw, class <= 1, 2, 3, for each union from each place, by the method of the best throw; by
                                the method with the highest chance anywhere where no throw is proposed. At the best place it is the finely
                                worked-out chance; the coarser values elsewhere are not shown higher than that, and throws whose bag comes
                                down near the thrower count for less in them (`ThrowSettings.near_worth`).
    blocked_by : tuple          Per union, what stops most throws where none gets over; None where one does.
    """

    stances: Stances
    best: dict[tuple[int, int], Throw]
    chance: Floats32
    blocked_by: tuple[Reason | None, ...]

    def __repr__(self) -> str:
        return f"ThrowTable(throws={len(self.best)}, places={len(self.stances)})"
