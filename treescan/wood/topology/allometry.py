"""Is a limb as thick as what it carries asks for? The area relation of this very tree, held against pieces that were measured badly."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from treescan.wood.fitting.limb_axes import LimbAxes
from treescan.wood.graph import Floats, Ints
from treescan.wood.sections.cylinder_fit import MAD_TO_SD, TUKEY

BUNDLE = (0.656, 1.46, 1.0, -2.99, 1.55)
"""Constant, then the weights of `signs_of_bundle`: fitted to made-up scans by `scripts/fit_bundles.py` (source key "bundle_fit")."""
FEWEST = 40
"""So many well measured pieces the tree's own relation needs."""
SLIGHT = 0.1
"""Chances of being a bundle up to this are the fit's own noise and count as none."""
OWN_SCATTER = 0.3
"""Least relative sd of a radius that only the relation tells; single limbs of made-up trees scatter by 0.15 to 0.3 about it."""
LEAST_SLOPE, MOST_SCATTER = 0.25, 0.3
"""A relation flatter or looser than that is none: trees scanned from tripods showed 0.31 to 0.54, and 0.11 to 0.26."""
USUAL_SLOPE = 0.47
"""Median of those."""
USUAL_SCATTER = 0.45
"""Relative sd of a radius told by a relation that the tree itself does not show (a choice of this project)."""
THICK = 0.05
"""Radius from which wood is thick [m]."""
LEAST_LENGTH = 0.05
"""Wood carried is never taken for less than this [m]."""
ROUNDS, LEAST_SCATTER = 8, 0.02
"""Fits of the relation, each with weights from the one before, and the least scatter of log r they are weighed by (project choice)."""
FEWEST_THICK = 10
"""Thick pieces the usual slope is laid through, at least (project choice)."""
LEAST_SD_SHARE = 0.01
"""A fit's relative sd counts as no less (the bound the weights of `BUNDLE` were fitted with)."""
GOOD_RADIUS, GOOD_SD, GOOD_SHARE = 0.012, 0.08, 0.8
"""A well measured piece is thicker than this [m], has a smaller relative sd and a larger share of its points on the bark (project choice)."""
LEAST_RADIUS = 0.002
"""No limb is taken for thinner than this [m]."""


@dataclass(frozen=True)
class AreaRelation:
    """log r = slope log(length of wood carried) + constant, fitted to one tree; scatter of log r about it."""

    slope: float
    constant: float
    scatter: float

    def radius(self, carried: Floats) -> Floats:
        """Radius that carries such a length of wood. [m]"""
        return np.exp(self.constant + self.slope * np.log(np.maximum(carried, LEAST_LENGTH)))


def carried_length(axes: LimbAxes, place: Floats) -> Floats:
    """Length of all wood beyond every vertex, side limbs and theirs included, (m,). [m]

    Parameters
    ----------
    place : (l,) float  Where every limb meets its parent, along the parent. [m]
    """
    out = np.zeros(len(axes.s))
    whole = np.zeros(len(axes))
    kids: dict[int, list[int]] = {}
    for k in range(1, len(axes)):
        kids.setdefault(int(axes.parent[k]), []).append(k)
    for k in reversed(_parents_first(axes.parent)):
        rows = axes.rows(k)
        if rows.stop == rows.start:
            continue
        s = axes.s[rows]
        out[rows] = s[-1] - s
        mine = np.array(kids.get(k, []), int)
        if len(mine):
            order = mine[np.argsort(place[mine], kind="stable")]
            left = np.concatenate([[0.0], np.cumsum(whole[order])])
            out[rows] += left[-1] - left[np.searchsorted(place[order], s, side="left")]
            whole[k] = left[-1]
        whole[k] += s[-1] - s[0]
    return out


def area_relation(radius: Floats, carried: Floats, good: np.ndarray) -> AreaRelation | None:
    """The tree's own relation, from its well measured pieces; None where they are too few.

    Notes
    -----
    Wood of equal section for equal load (the pipe model) makes r grow with about the square root of the length carried; the slope is left
    to the tree. Tukey weights, so that dead stubs and limbs half unseen do not count. Where the pieces tell no such relation, because a moving
    scanner's noise makes limbs of twigs, the usual slope is laid through the thick ones.
    """
    if good.sum() < FEWEST:
        return None
    x, y = np.log(np.maximum(carried[good], LEAST_LENGTH)), np.log(radius[good])
    weight = np.ones(len(x))
    for _ in range(ROUNDS):
        if weight.sum() < FEWEST / 2 or np.ptp(x[weight > 0]) < 1.0:
            return None
        slope, constant = np.polyfit(x, y, 1, w=np.sqrt(weight))
        miss = y - slope * x - constant
        scatter = max(MAD_TO_SD * float(np.median(np.abs(miss))), LEAST_SCATTER)
        u = miss / (TUKEY * scatter)
        weight = np.where(np.abs(u) < 1, (1 - u * u) ** 2, 0.0)
    if slope >= LEAST_SLOPE and scatter <= MOST_SCATTER:
        return AreaRelation(float(slope), float(constant), scatter)
    thick = y > np.log(THICK)
    if thick.sum() < FEWEST_THICK:
        return None
    return AreaRelation(USUAL_SLOPE, float(np.median(y[thick] - USUAL_SLOPE * x[thick])), USUAL_SCATTER)


def signs_of_bundle(axes: LimbAxes, excess: Floats) -> Floats:
    """What tells a bundle of twigs, taken for one limb, from a limb, (m, 4).

    Columns: log of the fit's relative sd (0.01 to 1; no fit counts as 1), share of the points that lie on the bark, part of the round that was
    seen, log of the radius over what the area relation gives (-0.5 to 2).
    """
    sd = np.where(np.isfinite(axes.raw_sd), axes.raw_sd, axes.r) / axes.r
    share, arc = np.nan_to_num(axes.share), np.nan_to_num(axes.arc)
    return np.column_stack([np.log(np.clip(sd, LEAST_SD_SHARE, 1.0)), share, arc / (2 * np.pi), np.clip(excess, -0.5, 2.0)])


def well_measured(axes: LimbAxes) -> np.ndarray:
    """Pieces that speak for the tree's area relation, (m,)."""
    return (
        (axes.r > GOOD_RADIUS)
        & np.isfinite(axes.raw_sd)
        & (axes.raw_sd < GOOD_SD * axes.r)
        & (axes.share > GOOD_SHARE)
    )


def held_against_allometry(axes: LimbAxes, place: Floats) -> LimbAxes:
    """Limbs with what looks like a bundle of twigs thinned to what it carries.

    Parameters
    ----------
    place : (l,) float  Where every limb meets its parent, along the parent. [m]

    Notes
    -----
    A bundle of twigs or a clump of leaves can pass for a limb of 5 to 8 cm: it is fitted badly and is far too thick for the wood beyond it.
    With p the chance that a piece is such a bundle (the logit averaged with the pieces before and after, 1 : 2 : 1), the relation is believed with
    p, and else as far as the reading's own sd s asks for it: log r goes down by p + (1 - p) w times its excess over the relation (never up),
    w = s^2 / (s^2 + t^2), t the relation's scatter and at least `OWN_SCATTER`. The variance is that of the mixture: t with p, what reading and
    relation leave together with 1 - p, and what lies between the two. A well measured limb (s of some per cent) is hardly moved; under a moving scanner's noise, where
    twigs read several times too thick within wide intervals, the relation takes over.
    """
    carried = carried_length(axes, place)
    relation = area_relation(axes.r, carried, well_measured(axes))
    if relation is None:
        return axes
    excess = np.log(axes.r / relation.radius(carried))
    logit = _with_neighbours(axes, BUNDLE[0] + signs_of_bundle(axes, excess) @ np.array(BUNDLE[1:]))
    p = np.clip((1.0 / (1.0 + np.exp(-logit)) - SLIGHT) / (1 - SLIGHT), 0.0, 1.0) * (excess > 0)
    over, own, told = np.maximum(excess, 0.0), np.minimum(axes.r_sd / axes.r, 1e3), max(relation.scatter, OWN_SCATTER)
    w = own**2 / (own**2 + told**2)
    r = np.maximum(axes.r * np.exp(-(p + (1 - p) * w) * over), LEAST_RADIUS)
    spread = np.sqrt((1 - p) * w * told**2 + p * told**2 + p * (1 - p) * ((1 - w) * over) ** 2)
    return replace(axes, r=r, r_sd=np.where(excess > 0, spread * r, axes.r_sd))


def _with_neighbours(axes: LimbAxes, value: Floats) -> Floats:
    """A per-vertex value averaged with those before and after it on the same limb, 1 : 2 : 1; the ends count themselves twice."""
    limb = axes.of_vertex
    before = np.where(np.diff(limb, prepend=-1) == 0, np.roll(value, 1), value)
    after = np.where(np.diff(limb, append=-1) == 0, np.roll(value, -1), value)
    return (before + 2 * value + after) / 4


def _parents_first(parent: Ints) -> list[int]:
    """Limbs in an order in which every one follows its parent."""
    kids: dict[int, list[int]] = {}
    for k in range(1, len(parent)):
        kids.setdefault(int(parent[k]), []).append(k)
    out, todo = [], [0]
    while todo:
        k = todo.pop()
        out.append(k)
        todo += kids.get(k, [])
    return out
