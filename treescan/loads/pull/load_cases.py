"""How hard does the climber pull, from where, in each load case?

Two kinds are kept apart. Ordinary use is what every climb does: hanging, ascending, positioning, walking a
limb, the load test, and two people in a rescue. Exceptional is what no climb should do: an abrupt stop after
slack, a swing, and, where it is asked for, the hardest stop measured. The largest of each kind at every
place is what the wood is checked against; the gates ask more of the first than of the second.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.loads.pull.abrupt_stop import Behind, abrupt_stop
from treescan.loads.pull.shock import braced_tension, pendulum_force
from treescan.loads.settings import WORST_STOP, LoadSettings
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
    work = np.asarray(work, float).reshape(-1, 3)
    angle = rope_angles(anchor, work)
    limit = np.deg2rad(settings.rope_angle_limit_deg)
    near = np.flatnonzero((rope_angles(laid, work) <= limit + ROUNDING) & (angle < 0.5 * np.pi))
    below = anchor.copy()
    below[2] = min(ground, anchor[2] - settings.shortest_rope)
    at = np.concatenate([[0.0], np.minimum(angle[near], limit)])
    place = np.vstack([below[None], _steeper(anchor, work[near], angle[near], at[1:])])
    rope = np.linalg.norm(place - anchor, axis=1)
    rope[0] = settings.shortest_rope  # the way up and down passes just below the support
    w = settings.climber_mass * G
    widest = float(at.max())
    straight = np.arange(len(at)) == 0
    stop, scatter = abrupt_stop(rope, behind, legs, settings, ~straight)
    middle, ratio_spread = rescue_ratio(settings)
    drawn = {"abrupt stop": scatter, "rescue": np.where(straight, ratio_spread, 0.0)}
    table = {
        "at rest": np.full(len(at), w),
        "ascent": np.where(straight, settings.ascent_factor * w, 0.0),
        "work positioning": np.full(len(at), settings.positioning_factor * w),
        "limb walk": np.where(straight, 0.0, settings.limb_walk_factor * w * braced_tension(at)),
        "swing": np.where(straight, settings.swing_body * w * pendulum_force(widest), 0.0),
        "abrupt stop": stop,
        WORST_STOP: np.full(len(at), settings.stop_ceiling * w),
        "rescue": (w + settings.rescue_mass * G) * np.where(straight, middle, 1.0),
        "load test": np.where(straight, settings.test_people * w, 0.0),
    }
    tried = [c for c in table if c in settings.cases] or ["at rest"]
    ordinary = [c for c in tried if c not in settings.exceptional]
    # where only exceptional cases are asked for, they are judged like any other
    tension, case = _largest(table, ordinary or tried)
    hard, hard_case = _largest(table, [c for c in tried if c in settings.exceptional and ordinary])
    # some cases act only straight below, some only out at the work
    acts = np.flatnonzero((tension > 0) | (hard > 0))
    if not (tension > 0).any():
        acts, tension, case = np.array([0]), np.full(len(at), w), ["at rest"] * len(at)
    return Pulls(
        place[acts],
        np.concatenate([[-1], near]).astype(np.int32)[acts],
        tension[acts],
        tuple([case[i] for i in acts]),
        hard[acts],
        tuple([hard_case[i] for i in acts]),
        np.array([drawn[case[i]][i] if case[i] in drawn else 0.0 for i in acts]),
        np.array([drawn[hard_case[i]][i] if hard_case[i] in drawn else 0.0 for i in acts]),
    )


def _steeper(anchor: Floats, work: Floats, angle: Floats, at: Floats) -> Floats:
    """Places (w, 3) as far from the anchor and the same way, the rope at angles `at` (w,) from plumb where it
    was at larger ones `angle`: a place hardly farther off than the limb is thick is seen at quite another angle
    from its bark than from its axis."""
    off = work - anchor
    out, far = np.hypot(off[:, 0], off[:, 1]), np.linalg.norm(off, axis=1)
    level = off[:, :2] / np.maximum(out, ROUNDING)[:, None]
    turned = anchor + far[:, None] * np.column_stack([np.sin(at)[:, None] * level, -np.cos(at)])
    return np.where((angle > at)[:, None], turned, work)


def _largest(table: dict[str, Floats], names: list[str]) -> tuple[Floats, list[str]]:
    """Largest pull of some cases at every place, and its name; 0 and "" where there is none."""
    most = np.zeros(len(table["at rest"]))
    which = np.zeros(len(most), np.intp)
    for i, name in enumerate(names, 1):
        which[table[name] > most] = i
        most = np.maximum(most, table[name])
    called = ["", *names]
    return most, [called[i] for i in which.tolist()]
