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
from numpy.typing import ArrayLike

from treescan.estimate import Estimate
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
    winds = drawn_winds(site, tree.weather, _in_leaf(tree))
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
    own = np.stack([np.einsum("sc,sc->s", case.own_moment, v)[:, None] * size**2 for v in (asked, aside)])
    bears = growth * _capacity(case, z, size)
    kept = 1.0 - np.minimum(LOST * np.abs(weather[:, LOST_AT]), 0.5)
    gone = kept * SUMMER * triangular(weather[:, SHORT_AT], *GUST_LASTS)
    lasting = [(own, np.ones_like(kept))]
    if _in_leaf(tree) and site.wet_leaves > 0:
        lasting.append((own * (1.0 + site.wet_leaves), kept))
    if site.snow > 0:
        lying = _stretched(tree, case, tree.crown.lying(case.node, _points(tree, case))[:, None])
        lasting.append((own + site.snow * G * _parts(lying, asked, aside), kept))
    blown = _parts(_stretched(tree, case, _all_round(tree, case)), asked, aside)
    gusts = [(own + p * _at(blown, a), gone) for p, a in zip(winds.pressure, winds.azimuth, strict=True)]
    other, square = z[:, FIXED + case.limbs + case.limb].T, tree.sections.plane[case.node][:, None]
    spread = case.limb_spread[:, None]
    least = [_floor(e, f * e[0] / bears, square, other, spread) for e, f in lasting + gusts]
    rain_and_snow = np.max(least[: len(lasting)], axis=0)
    return _Floors(
        least=np.maximum.accumulate([least[0], rain_and_snow, *least[len(lasting) :]], axis=0),
        most=np.max([e[0] for e, _ in lasting + gusts], axis=0) / size_asked[:, None],
    )


def _floor(event: Floats, used: Floats, square: Floats, other: Floats, spread: Floats) -> Floats:
    """Floor (s, n) under the limb's own part that one event leaves.

    event : (2, s, n) moment in the climb's plane and across it; used : (s, n) the first over what the limb
        bears at the middle of its own part; other : (s, n)
    what its strength in another plane need not share with the climb's.
    """
    along, beside = event
    with np.errstate(divide="ignore", invalid="ignore"):
        shared = 1.0 - (1.0 - square) * beside**2 / (along**2 + beside**2)
        floor = (np.log(used) / spread - np.sqrt(1.0 - shared**2) * other) / shared
    return np.where(along > 0, floor, -np.inf)


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


def _at(blown: Floats, azimuth: Floats) -> Floats:
    """Between the sides: (2, s, ROUND) at azimuths (n,) [rad], (2, s, n)."""
    at = np.mod(azimuth, 2 * np.pi) * ROUND / (2 * np.pi)
    low = at.astype(int) % ROUND
    share = at - np.floor(at)
    return (1 - share) * blown[:, :, low] + share * blown[:, :, (low + 1) % ROUND]


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
            low[i] = np.quantile(margin[kept], tree.low_share)
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
