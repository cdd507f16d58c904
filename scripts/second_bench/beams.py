"""What does one beam bring back? A footprint that may straddle an edge, and one or several returns of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import open3d as o3d

from second_bench.street import GROUND, Body

CHUNK = 1_500_000


@dataclass(frozen=True)
class Returns:
    """What came back: beam (n,), distance (n,) [m], triangle (n,) it came from, number (n,) in its beam,
    from 1.
    """

    beam: np.ndarray
    distance: np.ndarray
    triangle: np.ndarray
    number: np.ndarray


class Caster:
    """All bodies of a scene, ready to be shot at."""

    def __init__(self, bodies: tuple[Body, ...]):
        shift = np.cumsum([0] + [len(b.corners) for b in bodies[:-1]])
        corners = np.vstack([b.corners for b in bodies]).astype(np.float32)
        triangles = np.vstack([b.triangles + s for b, s in zip(bodies, shift, strict=True)]).astype(np.uint32)
        self.kind = np.concatenate([np.full(len(b.triangles), b.kind, np.int8) for b in bodies])
        self.owner = np.concatenate([np.asarray(b.owner, np.int32) for b in bodies])
        self._scene = o3d.t.geometry.RaycastingScene(nthreads=1)
        self._scene.add_triangles(corners, triangles)

    def first(self, origin, direction):
        """Distance of the first surface (inf: none) and its triangle (-1) for each ray."""
        distance = np.empty(len(direction), np.float32)
        triangle = np.empty(len(direction), np.int64)
        for a in range(0, len(direction), CHUNK):
            part = slice(a, a + CHUNK)
            o = np.broadcast_to(origin, direction.shape)[part] if np.ndim(origin) == 1 else origin[part]
            hit = self._scene.cast_rays(np.hstack([o, direction[part]]).astype(np.float32), nthreads=1)
            distance[part] = hit["t_hit"].numpy()
            ids = hit["primitive_ids"].numpy().astype(np.int64)
            triangle[part] = np.where(ids == o3d.t.geometry.RaycastingScene.INVALID_ID, -1, ids)
        return distance, triangle


def _ring(n):
    """n points over a unit disc: even on two rings."""
    inner = max(1, n // 3)
    a = np.arange(inner) * 2 * np.pi / inner
    b = np.arange(n - inner) * 2 * np.pi / (n - inner) + 0.4
    return np.vstack(
        [0.4 * np.column_stack([np.cos(a), np.sin(a)]), 0.85 * np.column_stack([np.cos(b), np.sin(b)])]
    )


def footprint(caster, origin, direction, half_angle, exit_radius, rays):
    """Distances and triangles (n, rays) of rays over the footprint of each beam."""
    helper = np.where(np.abs(direction[:, 2:3]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    u = np.cross(direction, helper)
    u /= np.linalg.norm(u, axis=1)[:, None]
    v = np.cross(direction, u)
    distance = np.empty((len(direction), rays), np.float32)
    triangle = np.empty((len(direction), rays), np.int64)
    for k, (a, b) in enumerate(_ring(rays)):
        off = a * u + b * v
        d = direction + half_angle * off
        distance[:, k], triangle[:, k] = caster.first(
            origin + exit_radius * off, d / np.linalg.norm(d, axis=1)[:, None]
        )
    return distance, triangle


def merged_returns(distance, triangle, gap, share, most):
    """Returns of beams from the rays of their footprints: rays nearer than `gap` [m] to each other give
    one, mixed.

    A return needs a `share` of the rays; at most `most` a beam, first ones first.
    """
    order = np.argsort(distance, axis=1)
    distance, triangle = np.take_along_axis(distance, order, 1), np.take_along_axis(triangle, order, 1)
    finite = np.isfinite(distance)
    d = np.where(finite, distance, 1e6)
    group = np.cumsum(np.c_[np.zeros(len(d), int), (np.diff(d, axis=1) > gap).astype(int)], axis=1)
    beams, ranges, hits, numbers = [], [], [], []
    count = np.zeros(len(d), int)
    for g in range(int(group.max()) + 1 if len(d) else 0):
        mine = (group == g) & finite
        size = mine.sum(axis=1)
        good = (size >= max(1.0, share * d.shape[1])) & (count < most)
        if not good.any():
            continue
        mean = np.where(mine, d, 0).sum(axis=1)[good] / size[good]
        nearest = np.argmax(mine[good], axis=1)
        beams.append(np.flatnonzero(good))
        ranges.append(mean)
        hits.append(triangle[good, nearest])
        count[good] += 1
        numbers.append(count[good])
    if not beams:
        return Returns(np.zeros(0, int), np.zeros(0), np.zeros(0, int), np.zeros(0, int))
    return Returns(*(np.concatenate(c) for c in (beams, ranges, hits, numbers)))


def grid_returns(caster, origin, direction, half_angle, exit_radius, gap):
    """First returns of a grid of beams (rows, columns, 3).

    Whole footprints are followed only where the grid shows an edge of something that stands on the ground.
    """
    rows, columns, _ = direction.shape
    flat = direction.reshape(-1, 3)
    distance, triangle = caster.first(origin, flat)
    image = np.where(np.isfinite(distance), distance, 1e3).reshape(rows, columns)
    solid = np.where(triangle >= 0, caster.kind[triangle] != GROUND, False).reshape(rows, columns)
    edge = np.zeros((rows, columns), bool)
    for axis in (0, 1):
        pairs = solid[1:] | solid[:-1] if axis == 0 else solid[:, 1:] | solid[:, :-1]
        step = (np.abs(np.diff(image, axis=axis)) > 0.02) & pairs
        pad = [(0, 0), (0, 0)]
        pad[axis] = (0, 1)
        edge |= np.pad(step, pad)
        pad[axis] = (1, 0)
        edge |= np.pad(step, pad)
    edge = edge.ravel()
    smooth = ~edge & np.isfinite(distance)
    at = np.flatnonzero(edge)
    d, t = footprint(caster, origin, flat[at], half_angle, exit_radius, 6)
    mixed = merged_returns(d, t, gap, 0.25, 1)
    beam = np.r_[np.flatnonzero(smooth), at[mixed.beam]]
    return Returns(
        beam,
        np.r_[distance[smooth], mixed.distance],
        np.r_[triangle[smooth], mixed.triangle],
        np.ones(len(beam), int),
    )
