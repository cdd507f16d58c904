"""How hard does the climber pull, from where, in each load case?

Two kinds are kept apart. Ordinary use is what every climb does: hanging, ascending, positioning, walking a
limb, the load test, and two people in a rescue. Exceptional is what no climb should do: an abrupt stop after
slack, a swing, and, where it is asked for, the hardest stop measured. The largest of each kind at every
place is what the wood is checked against; the gates ask more of the first than of the second.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.loads.pull.abrupt_stop import Behind, abrupt_stop
from treescan.loads.pull.shock import braced_tension, pendulum_force
from treescan.loads.settings import CASES, WORST_STOP, LoadSettings
from treescan.units import G
from treescan.wood.graph import Floats, Ints

ROUNDING = 1e-9
"""Angles no farther over the limit are at it. [rad]"""

NINETY_FIVE = 1.6448536269514722
"""Standard normal of the 95th percentile."""


@dataclass(frozen=True)
class Pulls:
    """Rope pulls at the climber's end, one row a place.

    place : (l, 3) float    Where the climber hangs; row 0 is straight below the support. [m]
    work : (l,) int32       Row of the work points, -1 = straight below.
    tension : (l,) float    Largest over the ordinary cases that act there, 0 = none. [N]
    case : tuple of str     Its name.
    hard : (l,) float       Largest over the exceptional cases that act there, 0 = none. [N]
    hard_case : tuple of str    Its name, "" = none.
    spread, hard_spread : (l,)  Log standard deviation of the two where they are drawn (abrupt stop, two people
        plumb), else 0: the pull told is the middle then.
    """

    place: Floats
    work: Ints
    tension: Floats
    case: tuple[str, ...]
    hard: Floats
    hard_case: tuple[str, ...]
    spread: Floats
    hard_spread: Floats

    @property
    def most(self) -> Floats:
        """Hard end (95 %) of the ordinary pulls, (l,). [N]"""
        return np.asarray(self.tension * np.exp(NINETY_FIVE * self.spread), float)


def rescue_ratio(settings: LoadSettings) -> tuple[float, float]:
    """Middle of the peak of two people who hang plumb over their weight, and its log standard deviation.

    >>> tuple(round(v, 3) for v in rescue_ratio(LoadSettings()))
    (1.285, 0.094)
    """
    low, high = settings.rescue_factor[0], max(settings.rescue_factor)
    return float(np.sqrt(low * high)), float(np.log(high / low) / (2 * NINETY_FIVE))


def rope_angles(anchor: Floats, work: Floats) -> Floats:
    """Angle of the straight rope from plumb to work points (..., 3): 0 straight down, beyond 90 degrees where
    the work is above the anchor. [rad]"""
    d = np.asarray(work, float) - anchor
    return np.arctan2(np.hypot(d[..., 0], d[..., 1]), -d[..., 2])


@dataclass(frozen=True)
class Hung:
    """Every place the climber may hang at on one rope, row 0 straight below, whatever he weighs and does there.

    work : (l,) int32           Row of the work points, -1 = straight below.
    place : (l, 3) float        [m]
    at : (l,) float             Angle of the rope from plumb as judged; bark, laid (l,): as seen from the bark of the limb, where
        it bears, and from the axis, where it was laid; at most the limit, and `bark` more where the place was brought nearer. [rad]
    rope : (l,) float           Between climber and support. [m]
    limit : float               Rope angle out to which places were taken. [rad]
    """

    work: Ints
    place: Floats
    at: Floats
    bark: Floats
    laid: Floats
    rope: Floats
    limit: float

    @classmethod
    def of(cls, anchor: Floats, laid: Floats, ground: float, work: Floats, settings: LoadSettings) -> Hung:
        """The places of some work; parameters as of `pulls`."""
        work = np.asarray(work, float).reshape(-1, 3)
        angle, as_laid = rope_angles(anchor, work), rope_angles(laid, work)
        limit = float(np.deg2rad(settings.rope_angle_limit_deg))
        near = np.flatnonzero((as_laid <= limit + ROUNDING) & (angle < 0.5 * np.pi))
        below = anchor.copy()
        below[2] = min(ground, anchor[2] - settings.shortest_rope)
        at = np.concatenate([[0.0], np.minimum(angle[near], limit)])
        place = np.vstack([below[None], _steeper(anchor, work[near], angle[near], at[1:])])
        rope = np.linalg.norm(place - anchor, axis=1)
        rope[0] = settings.shortest_rope  # the way up and down passes just below the support
        rows = np.concatenate([[-1], near]).astype(np.int32)
        bark, seen = (np.concatenate([[0.0], a[near]]) for a in (angle, as_laid))
        return cls(rows, place, at, bark, seen, rope, limit)

    def within(self, limit: float) -> np.ndarray | None:
        """Rows of the places out to a smaller limit [rad]; None where one of them would have to be brought nearer for it."""
        rows = np.flatnonzero(self.laid <= limit + ROUNDING)
        return None if limit > self.limit or np.any(self.bark[rows] > limit) else rows

    def rows(self, rows: np.ndarray, limit: float) -> Hung:
        """Some of the places."""
        return Hung(
            self.work[rows], self.place[rows], self.at[rows], self.bark[rows], self.laid[rows], self.rope[rows], limit
        )


@dataclass(frozen=True)
class Stops:
    """Pull (l,) that stops a fall at every place [N], and its log standard deviation."""

    pull: Floats
    spread: Floats

    @classmethod
    def at(cls, hung: Hung, behind: Behind, legs: int, settings: LoadSettings) -> Stops:
        """From `abrupt_stop`."""
        return cls(*abrupt_stop(hung.rope, behind, legs, settings, hung.work >= 0))

    def rows(self, rows: np.ndarray) -> Stops:
        """At some of the places."""
        return Stops(self.pull[rows], self.spread[rows])


def pulls(
    anchor: Floats,
    laid: Floats,
    ground: float,
    work: Floats,
    behind: Behind,
    legs: int,
    settings: LoadSettings,
) -> Pulls:
    """Every place the climber may hang at within the allowed rope angle, with the hardest pull there.

    Parameters
    ----------
    anchor : (3,) float     Where the rope bears at the union. [m]
    laid : (3,) float       Where it was laid, on the limb's axis: from there a plan measures rope angles, so
                            what it calls served is judged, and nothing farther out. [m]
    ground : float          Height of the ground below it. [m]
    work : (w, 3) float     Work points. [m]
    behind : Behind         Rope behind the union that shares in stopping a fall.
    legs : int              Rope legs that end at the climber: two side by side are twice as stiff.
    settings : LoadSettings
    """
    hung = Hung.of(anchor, laid, ground, work, settings)
    return hardest_pulls(hung, Stops.at(hung, behind, legs, settings), settings)[0]


TABLE = (*CASES[:6], WORST_STOP, *CASES[6:])
"""Every load case, in the order they are tried; `_cases` knows them by their row here."""

REST, ASCENT, POSITIONING, WALK, SWING, STOP, WORST, RESCUE, TEST = range(len(TABLE))

NAMED = (*TABLE, "")
"""The cases by number; the last, -1, is none."""


def hardest_pulls(hung: Hung, stops: Stops, settings: LoadSettings) -> tuple[Pulls, Ints]:
    """The hardest pull at every place where any case acts, and the rows of those places."""
    w = settings.climber_mass * G
    middle, ratio_spread = rescue_ratio(settings)
    tried = [i for i, c in enumerate(TABLE) if c in settings.cases] or [REST]
    ordinary = [i for i in tried if TABLE[i] not in settings.exceptional]
    # where only exceptional cases are asked for, they are judged like any other
    exceptional = [i for i in tried if TABLE[i] in settings.exceptional and ordinary]
    swing = settings.swing_body * w * float(pendulum_force(hung.at.max()))
    both = w + settings.rescue_mass * G
    size = np.array([
        w, settings.ascent_factor * w, settings.positioning_factor * w, settings.limb_walk_factor * w, swing, 0.0, settings.stop_ceiling * w,
        both, settings.test_people * w,
    ])  # fmt: skip
    acts, tension, case, hard, hard_case, spread, hard_spread = _cases(
        braced_tension(hung.at), hung.work, stops.pull, stops.spread, size, middle, ratio_spread,
        np.array(ordinary or tried), np.array(exceptional, np.int64),
    )  # fmt: skip
    if len(acts) == len(hung.work):
        place, work = hung.place, hung.work
    else:
        place, work = hung.place[acts], hung.work[acts]
    named, hard_named = (tuple([NAMED[i] for i in c.tolist()]) for c in (case, hard_case))
    return Pulls(place, work, tension, named, hard, hard_named, spread, hard_spread), acts


@njit(cache=True, error_model="numpy", nogil=True)
def _cases(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    braced, work, stop, stop_spread, size, ratio, ratio_spread, ordinary, exceptional
):
    """Places where some case acts, the largest ordinary pull there and its case, the largest exceptional one (0 and -1 where none is
    tried), and the log standard deviation of both.

    braced (l,) : pull of a climber braced sideways over their weight; work, stop, stop_spread (l,) : as in `Hung` and `Stops`; size (cases,) : of every case where it acts, two people who hang still
    for a rescue, whose peak straight below is `ratio` of it.
    """
    rows = len(work)
    pull, case, spread = np.zeros((2, rows)), np.full((2, rows), -1), np.zeros((2, rows))
    for i in range(rows):
        straight = work[i] < 0
        for kind in range(2):
            tried = ordinary if kind == 0 else exceptional
            for c in tried:
                here = size[c]
                if c in (ASCENT, SWING, TEST):
                    here = here if straight else 0.0
                elif c == WALK:
                    here = 0.0 if straight else here * braced[i]
                elif c == STOP:
                    here = stop[i]
                elif c == RESCUE:
                    here = here * (ratio if straight else 1.0)
                if here > pull[kind, i]:
                    pull[kind, i], case[kind, i] = here, c
            if case[kind, i] == STOP:
                spread[kind, i] = stop_spread[i]
            elif case[kind, i] == RESCUE and straight:
                spread[kind, i] = ratio_spread
    # some cases act only straight below, some only out at the work
    acts = np.flatnonzero((pull[0] > 0) | (pull[1] > 0))
    if not np.any(pull[0] > 0):
        acts = np.zeros(1, np.int64)
        pull[0, 0], case[0, 0], spread[0, 0] = size[REST], REST, 0.0
    return acts, pull[0][acts], case[0][acts], pull[1][acts], case[1][acts], spread[0][acts], spread[1][acts]


def _steeper(anchor: Floats, work: Floats, angle: Floats, at: Floats) -> Floats:
    """Places (w, 3) as far from the anchor and the same way, the rope at angles `at` (w,) from plumb where it
    was at larger ones `angle`: a place hardly farther off than the limb is thick is seen at quite another angle
    from its bark than from its axis."""
    off = work - anchor
    out, far = np.hypot(off[:, 0], off[:, 1]), np.linalg.norm(off, axis=1)
    level = off[:, :2] / np.maximum(out, ROUNDING)[:, None]
    turned = anchor + far[:, None] * np.column_stack([np.sin(at)[:, None] * level, -np.cos(at)])
    return np.where((angle > at)[:, None], turned, work)
