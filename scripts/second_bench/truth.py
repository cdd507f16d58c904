"""What is true of a tree? Its unions, the crotch of each, diameters past the flare, stems, height, volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import open3d as o3d
from scipy.spatial import cKDTree

from second_bench.axis import Limb
from second_bench.bark import bark_distance, ring_area
from second_bench.skin import skin

BREAST_HEIGHT = 1.3
PLAIN_WITHIN = 0.015
"""A section counts as past the flare where its area radius is within this share of the nominal one."""


@dataclass(frozen=True)
class Union:
    """One union of the tree.

    Attributes
    ----------
    place : (3,)         Where the axes meet. [m]
    crotch : (3,)        Upper bark between the limbs, deepest in the plane of the fork; NaN: none. [m]
    parent, child, onward : float   Diameters past the flare: below, of the limb, of the parent's way on
                                    (0 where it ends). [m]
    angle : float        Between the limb and the parent's way on. [rad]
    kind : str           Of the limb.
    limb : int           Index of the limb; `host` of its parent.
    up : float           Rise of the fork's middle direction, sine; a rope lies in it where positive.
    """

    place: np.ndarray
    crotch: np.ndarray
    parent: float
    child: float
    onward: float
    angle: float
    kind: str
    limb: int
    host: int
    up: float

    @property
    def size(self) -> float:
        """Diameter of the smallest limb above the union. [m]"""
        return min(self.child, self.onward) if self.onward > 0 else self.child


@dataclass(frozen=True)
class TreeTruth:
    """Everything a scan of the tree is judged by.

    Attributes
    ----------
    axis : (n, 3); along : (n, 3)     Stations of all axes above ground, and their direction.
    radius : (n,)                     Circle of the section's area over bark. [m]
    plain : (n,) bool                 Away from flares, unions, burls and the butt.
    limb : (n,) int; kind : (n,)      Which limb, and what it is.
    spread : (n,) float               How far the outline strays from that circle. [m]
    unions : tuple of Union           Of limbs of 3 cm and more.
    stems : (k, 3)                    x, y and diameter at breast height of each stem. [m]
    touches : (k, 3)                  Where limbs of 4 cm and more that are not parent and child touch. [m]
    top : float                       Highest wood. [m]
    ground : float                    Ground at the foot. [m]
    volume : float                    Of the limbs' closed surfaces above ground, overlaps counted twice. [m3]
    """

    axis: np.ndarray
    along: np.ndarray
    radius: np.ndarray
    plain: np.ndarray
    limb: np.ndarray
    kind: np.ndarray
    spread: np.ndarray
    unions: tuple[Union, ...]
    stems: np.ndarray
    touches: np.ndarray
    top: float
    ground: float
    volume: float

    @property
    def height(self) -> float:
        """Highest wood above the ground at the foot. [m]"""
        return self.top - self.ground


def area_radius(rings):
    """Circle of the same area over bark. [m]"""
    return np.sqrt(ring_area(rings) / np.pi)


def truth_of(limbs: tuple[Limb, ...], rings: list[np.ndarray], slope=(0.0, 0.0)) -> TreeTruth:
    """The truth of a dressed tree at the origin."""
    slope = np.asarray(slope, float)
    own = [area_radius(r) for r in rings]
    plain = [_plain(m, limbs, r) for m, r in zip(limbs, own, strict=True)]
    for i, m in enumerate(limbs):
        if m.parent >= 0 and m.kind not in ("liana",) and m.radius[0] > 0.15 * limbs[m.parent].radius[m.at]:
            _blot(plain[m.parent], limbs[m.parent], m)
        if m.kind == "liana":
            plain[i][:] = False
    unions = tuple(
        _union(i, limbs, rings, own, plain)
        for i, m in enumerate(limbs)
        if m.parent >= 0 and m.radius[0] >= 0.015 and m.kind != "liana" and len(m.xyz) > 8
    )
    rows = [_rows(i, m, own[i], plain[i], rings[i], slope) for i, m in enumerate(limbs)]
    axis, along, radius, clear, limb, kind, spread, step = (
        np.concatenate(c) for c in zip(*rows, strict=True)
    )
    tree = kind != "liana"
    return TreeTruth(
        axis,
        along,
        radius,
        clear,
        limb,
        kind,
        spread,
        unions,
        _stems(limbs, own, plain, slope),
        _touches(limbs),
        float(axis[tree, 2].max()),
        0.0,
        float((np.pi * radius**2 * step)[tree].sum()),
    )


def _rows(i, limb, radius, plain, rings, slope):
    above = limb.xyz[:, 2] > limb.xyz[:, :2] @ slope
    n = int(above.sum())
    spread = rings.std(axis=1)
    return (
        limb.xyz[above],
        limb.tangent[above],
        radius[above],
        plain[above],
        np.full(n, i),
        np.full(n, limb.kind),
        spread[above],
        np.full(n, limb.step),
    )


def _plain(limb, limbs, radius):
    """Where the section is the limb's own: past the parent's bark, not swollen."""
    plain = np.abs(radius / limb.radius - 1) < PLAIN_WITHIN
    if limb.parent >= 0:
        start = bark_distance(limbs[limb.parent].radius[limb.at], limb.angle)
        plain &= limb.along > start + 2 * limb.radius[0]
    plain[-2:] = False
    return plain


def _blot(plain, limb, child):
    """Clear `plain` of the parent where the child leaves it."""
    out = limb.radius[child.at] / np.tan(np.clip(child.angle, 0.22, np.pi / 2))
    low, high = 2.0 * child.radius[0], out + 2.5 * child.radius[0]
    d = (np.arange(len(plain)) - child.at) * limb.step
    plain[(d > -low) & (d < high)] = False


def _union(i, limbs, rings, own, plain):
    limb, host = limbs[i], limbs[limbs[i].parent]
    h = limb.parent
    place = host.xyz[limb.at]
    before = max(0, limb.at - round(max(2 * limb.radius[0], 0.5 * host.radius[limb.at]) / host.step) - 1)
    start = bark_distance(host.radius[limb.at], limb.angle) + 3 * limb.radius[0]
    past = min(int(start / limb.step), len(limb.radius) - 1)
    after = (
        limb.at
        + round(
            (host.radius[limb.at] / np.tan(np.clip(limb.angle, 0.3, 1.5)) + 2 * limb.radius[0]) / host.step
        )
        + 1
    )
    onward = 2 * host.radius[after] if after < len(host.radius) - 2 else 0.0
    d_host, d_limb = _heading(host, limb.at, 0.3), _heading(limb, 0, 0.3)
    middle = d_host + d_limb
    up = float(middle[2] / max(np.linalg.norm(middle), 1e-9))
    angle = float(np.arccos(np.clip(d_host @ d_limb, -1, 1)))
    crotch = (
        _crotch(place, d_host, d_limb, host, rings[h], limb, rings[i])
        if onward > 0 and angle > 0.08
        else np.full(3, np.nan)
    )
    return Union(
        place,
        crotch,
        float(2 * own[h][before]),
        float(2 * limb.radius[past]),
        float(onward),
        angle,
        limb.kind,
        i,
        h,
        up,
    )


def _heading(limb, at, over):
    """Mean direction of the axis over the next metres."""
    to = min(len(limb.xyz) - 1, at + max(2, round(over / limb.step)))
    d = limb.xyz[to] - limb.xyz[at]
    return d / max(np.linalg.norm(d), 1e-9)


def _crotch(place, d_host, d_limb, host, host_rings, limb, limb_rings):
    """Deepest bark between two limbs in the plane of the fork, by rays from outside to where the axes
    meet.
    """
    angle = np.arccos(np.clip(d_host @ d_limb, -1, 1))
    far = min(2.0, 1.6 * (host.radius[limb.at] + limb.radius[0]) / np.sin(max(angle, 0.3) / 2))
    f = np.linspace(0.06, 0.94, 89)[:, None]
    rays = np.sin((1 - f) * angle) * d_host + np.sin(f * angle) * d_limb
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    starts = (place + far * rays).astype(np.float32)
    left = np.full(len(rays), -np.inf)
    for m, r, at in ((host, host_rings, limb.at), (limb, limb_rings, 0)):
        reach = round(1.5 * far / m.step) + 2
        corners, triangles = skin(m, r, max(0, at - reach), min(len(m.radius), at + reach))
        scene = o3d.t.geometry.RaycastingScene(nthreads=1)
        scene.add_triangles(corners.astype(np.float32), triangles.astype(np.uint32))
        out = scene.cast_rays(np.hstack([starts, -rays]).astype(np.float32), nthreads=1)["t_hit"].numpy()
        inside = scene.compute_occupancy(starts, nthreads=1).numpy() > 0.5
        left = np.maximum(left, np.where(inside, np.inf, np.where(np.isfinite(out), far - out, -np.inf)))
    best = int(np.argmin(left))
    if not np.isfinite(left[best]) or left[best] <= 0:
        return np.full(3, np.nan)
    return place + left[best] * rays[best]


def _touches(limbs, least=0.02, near=0.35):
    """Places where limbs meet that did not grow from each other, past their parents' bark."""
    xyz, radius, owner = [], [], []
    for i, m in enumerate(limbs):
        host = limbs[m.parent] if m.parent >= 0 else None
        start = bark_distance(host.radius[m.at], m.angle) + 2 * m.radius[0] if host is not None else 0.0
        thick = (m.radius > least) & (m.along >= start) & (m.kind != "liana")
        xyz.append(m.xyz[thick])
        radius.append(m.radius[thick])
        owner.append(np.full(int(thick.sum()), i))
    xyz, radius, owner = np.concatenate(xyz), np.concatenate(radius), np.concatenate(owner)
    a, b = cKDTree(xyz).query_pairs(near, output_type="ndarray").T
    parent = np.array([m.parent for m in limbs])
    strange = (owner[a] != owner[b]) & (parent[owner[a]] != owner[b]) & (parent[owner[b]] != owner[a])
    a, b = a[strange], b[strange]
    close = np.linalg.norm(xyz[a] - xyz[b], axis=1) < radius[a] + radius[b]
    return 0.5 * (xyz[a[close]] + xyz[b[close]])


def _stems(limbs, own, plain, slope):
    """x, y and breast height diameter of every stem, over the highest ground at it; away from a swelling
    near it.
    """
    rows = []
    for i, m in enumerate(limbs):
        if m.kind != "stem" or (m.parent >= 0 and m.xyz[0, 2] - m.xyz[0, :2] @ slope > BREAST_HEIGHT - 0.25):
            continue
        height = m.xyz[:, 2] - m.xyz[:, :2] @ slope
        at = int(
            np.argmin(np.abs(height - BREAST_HEIGHT - m.radius[len(m.radius) // 10] * np.linalg.norm(slope)))
        )
        near = np.abs(height - height[at]) < 0.45
        good = near & (np.abs(own[i] / m.radius - 1) < PLAIN_WITHIN)
        if not plain[i][at] and good.any():
            k = np.flatnonzero(good)
            at = int(k[np.argmin(np.abs(k - at))])
        rows.append((*m.xyz[at, :2], 2 * own[i][at]))
    return np.array(rows)
