"""How much surer is the wood for what it has borne?

Every event i of the past (own weight with rain on its leaves, snow that was seen, the strongest gust of
every year) bent a section by a moment M_i, a vector. It stands, so

    R(a) / (k (1 - l) h) > M_i . a       for every i

R(a) its strength in the plane a in which the climb bends it, M_i . a the part of M_i in that plane and
direction: nothing counts that bent it the
other way or only across. k is the strength left of that in a gust, l what may have been lost unseen since, h
the loss from a winter's gust to a summer's
climb. The limb's own part of R in the plane of M_i is correlated with that in the plane of the climb by 1 -
(1 - r) sin^2, like that under
the own weight. Drag, gusts and strength are drawn together and only what stands is kept, so a limb may also
have stood because the wind was weaker than thought.

In each draw the events put a floor under the limb's own log strength e (in standard deviations); the chance
of overload is integrated above it.
In moments of one section the errors of bark, oval and table strength cancel. More years never tell less: the
best of the shorter histories counts too.

At most the chance is halved and the low side raised by a tenth: the wind at a tree is hardly ever known. The
verdict is left as it was.

References
----------
proven_service, site_wind, crown_drag, load_duration in treescan/sources.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from treescan.estimate import Estimate, quantile
from treescan.loads.chance.margin_kernel import FIXED, UNION, WOOD
from treescan.loads.chance.overload_chance import overload_chance
from treescan.loads.chance.reliability import (
    LEAST_STANDING,
    MarginCase,
    both_margins,
    section_draws,
    triangular,
)
from treescan.loads.history.winds import LOST_AT, SHORT_AT, Winds, drawn_winds, yearly_gust
from treescan.loads.judging.judged import Judged
from treescan.loads.limb_check import Borne
from treescan.loads.site_history import SiteHistory
from treescan.loads.statics.structural_model import StructuralModel
from treescan.units import G
from treescan.wood.graph import Floats

GUST_LASTS = (0.76, 0.85, 0.93)
"""Share of the strength in a gust that is left over a climb: low, middle, high."""

SUMMER = 0.92
"""Strength in a summer's climb over that in a winter's gust."""

LOST = 0.04
"""Share of strength that may be gone since without showing: standard deviation of a half normal."""

ROUND = 48
"""Sides from which the wind is tabulated for every section."""

LEAST_CHANCE, MOST_LOW = 0.5, 1.1
"""The chance falls to this share of itself at most, the low side rises by this factor at most."""


def proof(found: Judged) -> Borne | None:
    """What this anchor's wood has borne and how much surer that makes it; None where nothing did."""
    tree, use = found.tree, found.use
    site = tree.settings.history
    winds = _winds(tree)
    same = [use.cases[0], *(c for c, tested in zip(use.cases[1:], use.in_plane, strict=True) if tested)]
    apart = [c for c, tested in zip(use.cases[1:], use.in_plane, strict=True) if not tested]
    growth = found.stiffness.growth
    rain, snow = _in_leaf(tree) and site.wet_leaves > 0, site.snow > 0
    if not (len(winds.pressure) or rain or snow):
        return None
    floors = [[_floors(tree, c, growth, winds) for c in cases] for cases in (same, apart)]
    low, stood = _low(tree, same, floors[0], use.standing)
    if apart:
        low = np.minimum(low, _low(tree, apart, floors[1], use.standing)[0])
    chance = _chance(tree, same, floors[0])
    if apart:
        chance = chance + _chance(tree, apart, floors[1])
    section = np.flatnonzero(use.cases[0].node == use.node)
    if len(section) == 0 or not stood.any():
        return None
    share = floors[0][0].most[int(section[0])][stood]
    return Borne(
        years=site.counted_years,
        gust=yearly_gust(site),
        share=Estimate.of(share),
        low=use.margin.p5 * min(_best(low, low[0]), MOST_LOW),
        overload_chance=use.overload / min(_best(chance[0], chance), 1.0 / LEAST_CHANCE),
        rain=rain,
        snow=snow,
    )


def _winds(tree: StructuralModel) -> Winds:
    """As `drawn_winds`, drawn once for a history."""
    site, kept, key = tree.settings.history, tree.sections.kept, ("winds", _in_leaf(tree))
    known: tuple[SiteHistory, Floats, Winds] | None = kept.get(key)
    if known is None or known[0] != site or known[1] is not tree.weather:
        known = kept[key] = site, tree.weather, drawn_winds(site, tree.weather, _in_leaf(tree))
    return known[2]


def _best(after: ArrayLike, before: ArrayLike) -> float:
    """The largest gain of any length of the history, at least 1; 1 where none is known."""
    with np.errstate(divide="ignore", invalid="ignore"):
        gained = np.asarray(after, float) / np.asarray(before, float)
    return float(np.max(gained[np.isfinite(gained)], initial=1.0))


def _in_leaf(tree: StructuralModel) -> bool:
    """Whether leaves are counted in the tree's own weight."""
    leaves = tree.settings.leaves
    return leaves == "on" or (leaves != "off" and not tree.beside.foliage.bare)


@dataclass(frozen=True)
class _Floors:
    """What the past says of some sections in every draw.

    Attributes
    ----------
    least : (y + 2, s, n)   Least of the limb's own log strength, in standard deviations (as drawn): after
        its own weight of today, after
        rain and snow, then after one year of wind, two, ...; -inf where nothing was shown.
    most : (s, n)           Most that was borne in the plane and direction of the climb, over what the climb
        asks.
    """

    least: Floats
    most: Floats


def _floors(tree: StructuralModel, case: MarginCase, growth: float, winds: Winds) -> _Floors:
    """The floors under one load's sections; growth: by how much the case's strength was lowered for the bent
    shape."""
    z, weather, site = tree.normals[:, : case.dimensions], tree.weather, tree.settings.history
    asked, aside, size_asked = _planes(case)
    size = np.exp((case.cholesky * case.sd[:, None]) @ z[:, FIXED + 2 * case.limbs + case.column].T)
    bears = growth * _capacity(case, z, size)
    kept = 1.0 - np.minimum(LOST * np.abs(weather[:, LOST_AT]), 0.5)
    gone = kept * SUMMER * triangular(weather[:, SHORT_AT], *GUST_LASTS)
    wet = site.wet_leaves if _in_leaf(tree) else 0.0
    lying = np.zeros((2, len(case.radius), 1))
    if site.snow > 0:
        fallen = _stretched(tree, case, tree.crown.lying(case.node, _points(tree, case))[:, None])
        lying = site.snow * G * _parts(fallen, asked, aside)
    own = np.stack([np.einsum("sc,sc->s", case.own_moment, v) for v in (asked, aside)])
    blown = _parts(_stretched(tree, case, _all_round(tree, case)), asked, aside)
    other = np.ascontiguousarray(z[:, FIXED + case.limbs + case.limb].T)
    least, most = _events(
        own, lying[:, :, 0], blown, winds.pressure, winds.azimuth, size, bears, other, kept, gone, wet,
        site.snow > 0, tree.sections.plane[case.node], case.limb_spread,
    )  # fmt: skip
    return _Floors(least, most / size_asked[:, None])


@njit(cache=True, error_model="numpy", nogil=True)
def _events(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    own, lying, blown, pressure, azimuth, size, bears, other, kept, gone, wet, snow, square, spread,
):
    """Floors (y + 2, s, n) as of `_Floors.least`, and the most moment (s, n) that was borne in the climb's plane. [N m]

    Parameters
    ----------
    own, lying : (2, s)         Moment of the own weight and of the snow in the climb's plane and across it. [N m]
    blown : (2, s, ROUND)       Of a pascal of wind. [N m / Pa]
    pressure, azimuth : (y, n)  As in `Winds`.
    size, bears, other : (s, n) Diameter over its middle; moment borne with the limb's own part at the middle [N m]; what the limb's
        strength in another plane need not share with the climb's.
    kept, gone : (n,)           Strength left of that under what lies on the tree, and in a gust.
    wet : float, snow : bool    Rain on its leaves over the own weight, 0 = none; whether snow was seen.
    square, spread : (s,)       As of `MarginCase` and `TreeSections`.
    """
    sections, draws = size.shape
    years = len(pressure)
    least, most = np.empty((years + 2, sections, draws)), np.empty((sections, draws))
    side, share = np.empty((years, draws), np.int64), np.empty((years, draws))
    for y in range(years):
        for d in range(draws):
            at = (azimuth[y, d] % (2 * np.pi)) * ROUND / (2 * np.pi)
            side[y, d], share[y, d] = int(at) % ROUND, at - np.floor(at)
    for s in range(sections):
        for d in range(draws):
            grown, bear, apart = size[s, d] * size[s, d], bears[s, d], other[s, d]
            along, beside = own[0, s] * grown, own[1, s] * grown
            top = along
            floor = _floor(along, beside, along / bear, square[s], apart, spread[s])
            least[0, s, d] = floor
            if wet > 0.0:
                top = max(top, along * (1.0 + wet))
                floor = max(
                    floor,
                    _floor(along * (1.0 + wet), beside * (1.0 + wet), kept[d] * (along * (1.0 + wet)) / bear, square[s], apart, spread[s]),
                )
            if snow:
                a, b = along + lying[0, s], beside + lying[1, s]
                top = max(top, a)
                floor = max(floor, _floor(a, b, kept[d] * a / bear, square[s], apart, spread[s]))
            least[1, s, d] = floor
            for y in range(years):
                low, part = side[y, d], share[y, d]
                high = (low + 1) % ROUND
                a = along + pressure[y, d] * ((1 - part) * blown[0, s, low] + part * blown[0, s, high])
                b = beside + pressure[y, d] * ((1 - part) * blown[1, s, low] + part * blown[1, s, high])
                top = max(top, a)
                floor = max(floor, _floor(a, b, gone[d] * a / bear, square[s], apart, spread[s]))
                least[2 + y, s, d] = floor
            most[s, d] = top
    return least, most


@njit(cache=True, error_model="numpy", nogil=True)
def _floor(along, beside, used, square, other, spread):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Floor under the limb's own part that one event leaves.

    along, beside : its moment in the climb's plane and across it; used : the first over what the limb bears at the middle of its own
    part; other : what its strength in another plane need not share with the climb's.
    """
    if not along > 0:
        return -np.inf
    shared = 1.0 - (1.0 - square) * beside * beside / (along * along + beside * beside)
    return (np.log(used) / spread - np.sqrt(1.0 - shared * shared) * other) / shared


def _planes(case: MarginCase) -> tuple[Floats, Floats, Floats]:
    """Unit vectors (s, 3) of the bending moment the climb asks, and across it; its size (s,). [N m]"""
    moment = case.own_moment + case.moment.sum(axis=1)
    moment = moment - np.einsum("sc,sc->s", moment, case.axis)[:, None] * case.axis
    size = np.maximum(np.linalg.norm(moment, axis=1), 1e-9)
    asked = moment / size[:, None]
    return asked, np.cross(case.axis, asked), size


def _capacity(case: MarginCase, z: Floats, size: Floats) -> Floats:
    """Bending moment every section bears in every draw, its limb's own part at the middle, (s, n). [N m]"""
    k = np.array([triangular(z[:, UNION], *row) for row in case.k])
    middle = 0.25 * np.pi * case.radius**3 * case.bending
    return np.asarray(middle[:, None] * size**3 * k * np.exp(case.spread[:, None] * z[:, WOOD]), float)


def _points(tree: StructuralModel, case: MarginCase) -> Floats:
    """Where the sections of a load are taken, (s, 3). [m]"""
    return tree.sections.point[case.node]


def _all_round(tree: StructuralModel, case: MarginCase) -> Floats:
    """Moment of one pascal of wind from `ROUND` sides about every section, (s, ROUND, 3). [N m / Pa]"""
    return tree.crown.wind(case.node, _points(tree, case), np.arange(ROUND) * 2 * np.pi / ROUND)


def _stretched(tree: StructuralModel, case: MarginCase, moment: Floats) -> Floats:
    """Moments (s, a, 3) that stress a round of the same area like the oval."""
    stretch = tree.sections.stretch
    return moment if len(stretch) == 0 else np.einsum("sij,saj->sai", stretch[case.node], moment)


def _parts(moment: Floats, asked: Floats, aside: Floats) -> Floats:
    """Parts of moments (s, a, 3) in the climb's plane and across it, (2, s, a)."""
    return np.stack([np.einsum("sac,sc->sa", moment, v) for v in (asked, aside)])


def _low(
    tree: StructuralModel, cases: Sequence[MarginCase], floors: Sequence[_Floors], standing: bool
) -> tuple[Floats, np.ndarray]:
    """Low side of the worst of some loads after every length of the history, (y + 2,), 0 where hardly a draw
    stands; which draws stand after all of it, (n,)."""
    z = tree.normals
    drawn = [both_margins(c, z[:, : c.dimensions]) for c in cases]
    margin = np.min([m for m, _ in drawn], axis=0)
    up = np.min([own for _, own in drawn], axis=0) > 1.0 if standing else np.ones(len(z), bool)
    stood = up & np.all(
        [np.all(f.least <= z[:, FIXED + c.limb].T, axis=1) for c, f in zip(cases, floors, strict=True)],
        axis=0,
    )
    low = np.zeros(len(stood))
    for i, kept in enumerate(stood):
        if kept.mean() >= LEAST_STANDING:
            low[i] = quantile(margin[kept], tree.low_share)
    return low, stood[-1]


def _chance(tree: StructuralModel, cases: Sequence[MarginCase], floors: Sequence[_Floors]) -> Floats:
    """Chance of overload of the worst of some loads after every length of the history, (y + 2,); that it
    carries its own weight
    is in the floors."""
    few = len(tree.few)
    draws = section_draws(cases, tree.few, tree.widened[:few], stands=False)
    spread = np.concatenate([c.limb_spread for c in cases])[:, None]
    least = np.concatenate([f.least[:, :, :few] for f in floors], axis=1)
    return np.array([overload_chance(draws, passed=draws.margin * np.exp(spread * e)) for e in least])
