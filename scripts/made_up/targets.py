"""The scene as the ray caster needs it, and which parts of a dome are worth casting in full."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from made_up.meshes import PARTS, Part
from made_up.stations import Station

Floats = NDArray[np.float64]

TILE = 0.03
"""Edge of the patches of the dome that are either scanned in full or, with only ground, wall or sky in them, with a sixteenth of the beams [rad]."""


class Targets:
    """The scene as the ray caster needs it; `detail` are points on everything but ground and walls, at most about 15 cm apart."""

    def __init__(self, parts: list[Part]) -> None:
        import open3d as o3d

        self.scene = o3d.t.geometry.RaycastingScene()
        for p in parts:
            self.scene.add_triangles(o3d.core.Tensor(p.corners), o3d.core.Tensor(p.triangles))
        self.first = np.cumsum([0] + [len(p.triangles) for p in parts])
        self.label = np.array([p.label for p in parts], np.uint8)
        self.node = np.concatenate([p.node for p in parts])
        self._tensor = o3d.core.Tensor
        broad = [PARTS.index("ground"), PARTS.index("wall")]
        self.detail = np.concatenate([_dense(p) for p in parts if p.label not in broad] or [np.zeros((0, 3), np.float32)])

    def hit(self, origin: Floats, direction: Floats, facing: bool = True) -> tuple[NDArray, NDArray, NDArray, NDArray | None]:
        """Range (inf = sky) [m], part, node, and cosine of incidence of each ray."""
        rays = np.empty((len(direction), 6), np.float32)
        rays[:, :3], rays[:, 3:] = origin, direction
        got = self.scene.cast_rays(self._tensor(rays))
        t, g, tri = got["t_hit"].numpy(), got["geometry_ids"].numpy(), got["primitive_ids"].numpy()
        ok = np.isfinite(t)
        g = np.where(ok, g, 0).astype(np.int64)
        node = self.node[np.where(ok, self.first[g] + tri, 0)]
        cosine = np.abs(np.einsum("ij,ij->i", got["primitive_normals"].numpy(), rays[:, 3:])) if facing else None
        return t, self.label[g], node, cosine


def _dense(part: Part) -> NDArray[np.float32]:
    """Corners of a part, and points on those of its triangles whose edges are longer than 15 cm."""
    a, b, c = (part.corners[part.triangles[:, k]] for k in range(3))
    longest = np.sqrt(np.max([np.sum((x - y) ** 2, axis=1) for x, y in ((a, b), (b, c), (c, a))], axis=0))
    out = [part.corners]
    for i in np.nonzero(longest > 0.15)[0]:
        k = int(longest[i] / 0.12) + 1
        u, v = np.meshgrid(np.arange(k + 1) / k, np.arange(k + 1) / k)
        ok = u + v <= 1
        u, v = u[ok][:, None], v[ok][:, None]
        out.append((a[i] + u * (b[i] - a[i]) + v * (c[i] - a[i])).astype(np.float32))
    return np.concatenate(out)


def busy_tiles(targets: Targets, station: Station) -> NDArray[np.bool_] | None:
    """Which patches of a tripod's dome hold more than ground, walls and sky; None = all."""
    if station.kind != "tripod":
        return None
    v = targets.detail - station.path[0].astype(np.float32)
    tile = max(8, round(TILE / station.step)) * station.step
    rows, cols = (-(-k * station.step // tile) for k in station.shape)
    i = (np.mod(np.arctan2(v[:, 1], v[:, 0]) - station.window[0], 2 * np.pi) / tile).astype(int)
    j = np.floor((np.arctan2(v[:, 2], np.hypot(v[:, 0], v[:, 1])) - station.window[2]) / tile).astype(int)
    busy = np.zeros((int(rows) + 2, int(cols) + 2), bool)
    ok = (i <= rows) & (j >= -1) & (j <= cols)
    for di in (-1, 0, 1):
        for dj in (-1, 0, 1):
            busy[np.clip(i[ok] + di, 0, int(rows) + 1), np.clip(j[ok] + dj, 0, int(cols) + 1)] = True
    return busy


def cast_where(station: Station, first: int, last: int, busy: NDArray[np.bool_] | None) -> NDArray[np.int64]:
    """Beams of rows first..last-1 that are cast: all in busy patches, every fourth of every fourth row elsewhere."""
    cols = station.shape[1]
    if busy is None:
        return np.arange((last - first) * cols)
    tile = max(8, round(TILE / station.step))
    i, j = np.arange(first, last), np.arange(cols)
    full = busy[(i // tile)[:, None], (j // tile)[None, :]]
    return np.nonzero((full | ((i % 4 == 0)[:, None] & (j % 4 == 0)[None, :])).ravel())[0]
