"""Which voxels are wires? Long bare sagging lines with nothing beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from treescan.arrays import Flags, Floats, Floats32, Ints, Ints32

LEAST_WIRE = 5.0
"""Shortest line taken for a wire. [m]"""
LEAST_PIECE = 8
"""Voxels of the shortest piece a wire is begun with."""
LINE_LIKE, LEVEL, OVERHEAD, LONELY = 0.985, 0.6, 2.2, 6.5
"""A voxel is bare wire where its surroundings are a line by this share, run no steeper (sine), high enough
over the ground [m], with the sixth neighbour within so many cells."""
STEP, ALIKE, AHEAD = 5, 0.98, 0.97
"""Two such voxels join within so many cells where both run the same way and lie ahead of each other
(cosines)."""
SAME_WIRE = 0.15
"""A piece this close to a wire already found is part of it. [m]"""
FIT_ROUNDS = 6
SHORTEST_FIT, SHORTEST_SAG = 1.0, 3.0
"""A piece shorter than the first is none; from the second on it is fitted with a sag. [m]"""
BEYOND = 1.0
"""A piece is continued by half its length and so much. [m]"""
ON_WIRE, MOST_GAP = 0.05, 2.5
"""Points this close are on the wire, and a gap longer than the second figure ends it. [m]"""
BESIDE = (0.1, 0.35)
"""A wire has nothing in this ring round it. [m]"""
LOOK_STEP = 0.2
"""A line looks round itself from places so far apart. [m]"""
COUNT_STEP = 0.25
"""Steps in which a wire's length is counted. [m]"""
LONGEST_LIMB = 9.0
"""A line no longer may be a limb [m]: longer ones are never bare, straight and alone (project choice)."""
END_REACH, END_VOXELS, CROWN_ABOUT, CROWN_SHARE = 0.4, 6, 1.5, 0.35
"""A line ends in wood where so many voxels lie within the first [m] of its end, and of those within the third [m] this share lies farther
aside than the first, in plan: a pole's do not (project choice)."""
MOST_ROUGH, LEAST_SEEN, LEAST_BARE, LEAST_LONE = 0.03, 0.55, 0.3, 0.4
"""A wire is no rougher [m]; of its length this share is seen, and of the seen steps such shares are bare and
lonely."""


@dataclass(frozen=True)
class Wire:
    """A sagging line: plan origin (2,) and direction (2,), height a + b s + c s^2 along it, from s = first to
    s = last. [m]"""

    origin: Floats
    along: Floats
    sag: Floats
    first: float
    last: float

    def along_of(self, xyz: Floats) -> Floats:
        """Places along the line of points (n, 3), from its origin. [m]"""
        return np.asarray((xyz[:, :2] - self.origin) @ self.along)

    def at(self, s: Floats) -> Floats:
        """Points of the line at places s (k,) along it, (k, 3). [m]"""
        flat = self.origin + s[:, None] * self.along
        return np.column_stack([flat, self.sag[0] + self.sag[1] * s + self.sag[2] * s**2])

    def distance(self, xyz: Floats) -> Floats:
        """Distance of points (n, 3) from the line, inf beyond its ends. [m]"""
        s = (xyz[:, :2] - self.origin) @ self.along
        side = (xyz[:, :2] - self.origin) @ np.array([-self.along[1], self.along[0]])
        up = xyz[:, 2] - (self.sag[0] + self.sag[1] * s + self.sag[2] * s**2)
        return np.where((s >= self.first) & (s <= self.last), np.hypot(side, up), np.inf)


@dataclass(frozen=True)
class LinePlaces:
    """What speaks for wires at n voxels.

    Attributes
    ----------
    xyz : (n, 3), above : (n,)  Voxel centres and heights above the ground. [m]
    near : (n, 7)               Nearest neighbours, own voxel first.
    farthest : (n,)             Distance to the last of them. [m]
    value, along : (n, 3)       Spread of each neighbourhood, largest first [m2], and the direction of the
                                largest.
    """

    xyz: Floats
    above: Floats
    near: Ints32
    farthest: Floats32
    value: Floats
    along: Floats


@dataclass(frozen=True)
class _Voxels:
    """Voxels (n, 3), which of them are bare (n,), and the tree by which those near a line are found (a tile of many trees
    has many lines, and each looks only round itself); low, high : corners of all (3,)."""

    xyz: Floats
    bare: Flags
    tree: cKDTree
    low: Floats
    high: Floats

    @classmethod
    def of(cls, xyz: Floats, bare: Flags) -> _Voxels:
        return cls(xyz, bare, cKDTree(xyz), xyz.min(axis=0), xyz.max(axis=0))

    def round_line(self, w: Wire, away: float) -> Ints:
        """Rows of every voxel nearer than this to a line by `Wire.distance`, and of some farther off, ascending."""
        steep = float(np.hypot(1.0, np.abs(w.sag[1] + 2 * w.sag[2] * np.array([w.first, w.last])).max()))
        s = np.linspace(w.first, w.last, int((w.last - w.first) * steep / LOOK_STEP) + 2)
        reach = away + 0.5 * (s[1] - s[0]) * steep
        p = w.at(s)
        low, high = self.low - reach, self.high + reach
        inside = ((p >= low) & (p <= high)).all(axis=1)
        found = self.tree.query_ball_point(p[inside], reach)
        return np.unique(np.concatenate([np.asarray(f, int) for f in found])) if len(found) else np.zeros(0, int)


def find_wires(places: LinePlaces, cell: float, building: Flags) -> tuple[tuple[Wire, ...], tuple[Wire, ...]]:
    """Voxels that lie in a row with nothing beside them, joined, continued along their own sag: the wires, and lines that are rather limbs.

    Parameters
    ----------
    places : LinePlaces
    cell : float            Voxel edge. [m]
    building : (n,) bool    Voxels that are walls or roofs.
    """
    xyz, along = places.xyz, places.along
    share = places.value[:, 0] / np.maximum(places.value.sum(axis=1), 1e-12)
    bare = (share > LINE_LIKE) & (np.abs(along[:, 2]) < LEVEL) & (places.above > OVERHEAD) & ~building
    bare &= places.farthest < LONELY * cell
    rows = np.nonzero(bare)[0]
    if len(rows) < LEAST_PIECE:
        return (), ()
    pairs = cKDTree(xyz[rows]).query_pairs(STEP * cell, output_type="ndarray")
    a, b = rows[pairs[:, 0]], rows[pairs[:, 1]]
    d = xyz[b] - xyz[a]
    reach = np.linalg.norm(d, axis=1)
    same = np.abs((along[a] * along[b]).sum(axis=1)) > ALIKE
    same &= np.abs((along[a] * d).sum(axis=1)) > AHEAD * reach
    graph = coo_matrix((np.ones(same.sum()), (pairs[same, 0], pairs[same, 1])), shape=(len(rows), len(rows)))
    _, of = connected_components(graph, directed=False)
    voxels = _Voxels.of(xyz, bare)
    found: list[Wire] = []
    for g in np.argsort(-np.bincount(of)):
        piece = rows[of == g]
        if len(piece) < LEAST_PIECE:
            break
        if found and np.median(np.min([w.distance(xyz[piece]) for w in found], axis=0)) < SAME_WIRE:
            continue
        w = _one_wire(voxels, xyz[piece], cell)
        if w is not None:
            found.append(w)
    on_line = building.copy()
    for w in found:
        here = voxels.round_line(w, SAME_WIRE)
        on_line[here] |= w.distance(xyz[here]) < SAME_WIRE
    limbs = [_is_limb(w, voxels, ~on_line) for w in found]
    wires, doubtful = (tuple(w for w, limb in zip(found, limbs, strict=True) if limb is yes) for yes in (False, True))
    return wires, doubtful


def _one_wire(voxels: _Voxels, piece: Floats, cell: float) -> Wire | None:
    """Continue a bare piece both ways as a straight plan line with a parabola of heights; a wire if it is
    long, thin and mostly bare."""
    centre = piece.mean(axis=0)[:2]
    u = np.linalg.svd(piece[:, :2] - centre, full_matrices=False)[2][0]
    mine = piece
    sag = np.zeros(3)
    for _ in range(FIT_ROUNDS):
        s = (mine[:, :2] - centre) @ u
        if np.ptp(s) < SHORTEST_FIT:
            return None
        degree = 2 if np.ptp(s) > SHORTEST_SAG else 1
        fit = np.polynomial.polynomial.polyfit(s, mine[:, 2], degree)
        sag[:] = 0.0
        sag[: degree + 1] = fit
        slack = 0.5 * np.ptp(s) + BEYOND
        w = Wire(centre, u, sag.copy(), float(s.min() - slack), float(s.max() + slack))
        near = voxels.xyz[voxels.round_line(w, ON_WIRE)]
        close = near[w.distance(near) < ON_WIRE]
        if not len(close):
            return None
        t = np.sort((close[:, :2] - centre) @ u)
        ends = _run(t, float(np.median(s)), MOST_GAP)
        keep = (close[:, :2] - centre) @ u
        grown = close[(keep >= ends[0]) & (keep <= ends[1])]
        off = grown[:, :2] - centre
        line = np.linalg.lstsq(
            np.column_stack([np.ones(len(off)), off @ u]), off @ np.array([-u[1], u[0]]), rcond=None
        )[0]
        u = u + line[1] * np.array([-u[1], u[0]])
        u /= np.linalg.norm(u)
        centre = centre + line[0] * np.array([-u[1], u[0]])
        if len(grown) == len(mine):
            mine = grown
            break
        mine = grown
    s = (mine[:, :2] - centre) @ u
    w = Wire(centre, u, sag.copy(), float(s.min() - cell), float(s.max() + cell))
    rows = voxels.round_line(w, BESIDE[1])
    near, bare = voxels.xyz[rows], voxels.bare[rows]
    shown = np.floor(w.along_of(near[(w.distance(near) < ON_WIRE) & bare]) / COUNT_STEP) * COUNT_STEP
    if len(shown) == 0:
        return None
    low, high = float(shown.min()) - COUNT_STEP, float(shown.max()) + 2 * COUNT_STEP
    w = Wire(centre, u, sag.copy(), max(w.first, low), min(w.last, high))
    return w if _is_line(w, near, bare) else None


def _is_line(w: Wire, xyz: Floats, bare: Flags) -> bool:
    """Long, thin, seen over most of its length, bare and lonely over much of it; by all voxels within `BESIDE`."""
    d = w.distance(xyz)
    on = d < ON_WIRE
    steps = np.unique(np.floor(w.along_of(xyz[on]) / COUNT_STEP))
    bare_steps = np.unique(np.floor(w.along_of(xyz[on & bare]) / COUNT_STEP))
    beside = np.unique(np.floor(w.along_of(xyz[(d > BESIDE[0]) & (d < BESIDE[1])]) / COUNT_STEP))
    lone = len(np.setdiff1d(steps, beside))
    long = w.last - w.first
    seen = len(steps) * COUNT_STEP >= LEAST_SEEN * long
    clear = len(bare_steps) >= LEAST_BARE * len(steps) and lone >= LEAST_LONE * len(steps)
    return bool(long >= LEAST_WIRE and np.sqrt(np.mean(d[on] ** 2)) <= MOST_ROUGH and seen and clear)


def _is_limb(w: Wire, voxels: _Voxels, others: Flags) -> bool:
    """True where a short line runs into wood at one end and ends in the air at the other: a limb of the tree it leaves.

    A conductor ends at both sides alike, on what is no wood or at the edge of the scan; what stands at its pole stands over one place.

    Parameters
    ----------
    others : (n,) bool  Voxels that are neither built nor part of a line.
    """
    if w.last - w.first > LONGEST_LIMB:
        return False
    ends = []
    for s in (w.first, w.last):
        end = w.at(np.array([s]))[0]
        rows = np.array(voxels.tree.query_ball_point(end, CROWN_ABOUT), int)
        ends.append(_wood_at(end, voxels.xyz[rows[others[rows]]]))
    return ends[0] != ends[1]


def _wood_at(end: Floats, xyz: Floats) -> bool:
    """True where a line's end (3,) touches a crown: matter at the end, and more of it spread about it; xyz : what lies within
    `CROWN_ABOUT` of it."""
    if not len(xyz):
        return False
    off = xyz - end
    away = np.linalg.norm(off, axis=1)
    about = np.hypot(off[:, 0], off[:, 1])[away < CROWN_ABOUT]
    touched = np.count_nonzero(away < END_REACH) >= END_VOXELS
    return bool(touched and np.mean(about > END_REACH) > CROWN_SHARE)


def _run(t: Floats, start: float, gap: float) -> tuple[float, float]:
    """The stretch of sorted places round `start` without a gap."""
    i = int(np.clip(np.searchsorted(t, start), 0, len(t) - 1))
    breaks = np.nonzero(np.diff(t) > gap)[0]
    left = breaks[breaks < i]
    right = breaks[breaks >= i]
    return float(t[left[-1] + 1] if len(left) else t[0]), float(t[right[0]] if len(right) else t[-1])
