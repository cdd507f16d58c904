"""Where is the ground? A height grid that holds on slopes, under low crowns and with stray low points, and says where it only continues.

The way: lowest supported point of each cell; take off the mean slope; open with growing windows so that crowns, walls and cars fall away;
fill; then move the surface onto the points that lie close to it. Cells without such points are filled smoothly and flagged not measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from treescan.reason import Reason
from treescan.trees.beside import Terrain
from treescan.trees.settings import TerrainSettings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
GROUND_CLASS = 2
"""Class of ground points in LAS files (standard classes of the LAS specification)."""


@dataclass(frozen=True)
class Ground:
    """The ground surface and how it came about. found: False when the scan shows no ground."""

    terrain: Terrain
    found: bool
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class _Grid:
    """A plan grid: corner (2,) [m], cell [m], shape (rows, cols), and the cell (row, col) of every point used."""

    corner: Floats
    cell: float
    shape: tuple[int, int]

    def centres(self) -> tuple[Floats, Floats]:
        """x (cols,) and y (rows,) of the cell centres."""
        return (
            self.corner[0] + (np.arange(self.shape[1]) + 0.5) * self.cell,
            self.corner[1] + (np.arange(self.shape[0]) + 0.5) * self.cell,
        )


def find_ground(xyz: Floats, classes: NDArray | None = None, settings: TerrainSettings = TerrainSettings()) -> Ground:
    """Ground surface under a scan.

    Parameters
    ----------
    xyz : (n, 3) float          [m, local]
    classes : (n,) int, optional    Point classes of the file; class 2 is used where it lies like ground, and ignored where it does not.
    """
    notes: list[Reason] = []
    used = xyz
    classed = _ground_class(xyz, classes)
    if classed is not None:
        used = xyz[classed]
    cell = _cell_for(used, settings)
    grid = _grid_over(xyz, cell)
    low, at = _lowest(used, grid.corner, cell, *grid.shape)
    plane = _mean_plane(at, low)
    flat = low - (at @ plane[:2] + plane[2])
    flat = _without_strays(flat)
    bare = _opened(flat, cell, settings, already_ground=classed is not None)
    bare = _without_bumps(flat, bare, cell)
    if not _lies_like_ground(np.where(bare, flat, np.nan), cell, classed is not None):
        return _patch_or_level(xyz, settings)
    if classed is None and classes is not None and np.any(classes == GROUND_CLASS):
        notes.append(Reason("ground_class_not_used"))
    height, measured = _settled(used, plane, _filled(np.where(bare, flat, np.nan)), grid)
    x, y = grid.centres()
    gx, gy = np.meshgrid(x, y)
    height = height + gx * plane[0] + gy * plane[1] + plane[2]
    terrain = _continued(Terrain(height, grid.corner, cell, measured), settings.reach)
    return Ground(terrain, True, tuple(notes))


def under_stems(terrain: Terrain, feet: Floats, radius: Floats) -> Terrain:
    """The same ground with the cells under stems taken from the ground round them: the butt of a stem stands where no ground is seen.

    Parameters
    ----------
    feet : (k, 2) float     Plan places of the stems. [m, local]
    radius : (k,) float     Their radii. [m]

    Notes
    -----
    The lowest points of a cell that a stem fills lie on its butt, up to the band within which points are believed to be ground: the foot read
    3 to 8 cm too high on simulated scans. A plane through the measured cells of a ring one metre wide takes their place; cells that stand out above it
    (the flare's roots, a stone) are left out twice. Fewer than six ring cells: nothing is changed.
    """
    height, measured = terrain.height.copy(), terrain.measured.copy()
    for foot, r in zip(feet, radius, strict=True):
        near = 1.5 * r + 0.85 * terrain.cell
        first = np.maximum(np.floor((foot - near - 1.0 - terrain.corner) / terrain.cell).astype(int), 0)
        last = np.maximum(np.ceil((foot + near + 1.0 - terrain.corner) / terrain.cell).astype(int), 0)
        window = (slice(first[1], last[1]), slice(first[0], last[0]))
        y, x = np.indices(terrain.height[window].shape) + 0.5
        dx, dy = (x + first[0]) * terrain.cell + terrain.corner[0] - foot[0], (y + first[1]) * terrain.cell + terrain.corner[1] - foot[1]
        away = np.hypot(dx, dy)
        inside = away < near
        ring = ~inside & (away < near + 1.0) & terrain.measured[window] & np.isfinite(terrain.height[window])
        if ring.sum() < 6:
            continue
        a, z = np.column_stack([dx[ring], dy[ring], np.ones(ring.sum())]), terrain.height[window][ring]
        keep = np.ones(len(z), bool)
        for _ in range(3):
            fit = np.linalg.lstsq(a[keep], z[keep], rcond=None)[0]
            miss = z - a @ fit
            again = miss < 1.5 * np.std(miss[keep]) + 0.01
            if again.sum() < 6:
                break
            keep = again
        height[window][inside] = dx[inside] * fit[0] + dy[inside] * fit[1] + fit[2]
        measured[window][inside] = False
    return Terrain(height, terrain.corner, terrain.cell, measured)


def heights_above(terrain: Terrain, xyz: Floats) -> Floats:
    """Height of points (n, 3) above the ground, (n,) [m]; outside the grid above its nearest edge."""
    return _above(xyz, terrain.height, terrain.corner, terrain.cell)


@njit(cache=True)
def _above(xyz, height, corner, cell):  # type: ignore[no-untyped-def]
    rows, cols = height.shape
    out = np.empty(len(xyz))
    for i in range(len(xyz)):
        px = min(max((xyz[i, 0] - corner[0]) / cell - 0.5, 0.0), cols - 1.0)
        py = min(max((xyz[i, 1] - corner[1]) / cell - 0.5, 0.0), rows - 1.0)
        c, r = min(int(px), max(cols - 2, 0)), min(int(py), max(rows - 2, 0))
        c1, r1 = min(c + 1, cols - 1), min(r + 1, rows - 1)
        fx, fy = px - c, py - r
        z = (1 - fy) * ((1 - fx) * height[r, c] + fx * height[r, c1]) + fy * ((1 - fx) * height[r1, c] + fx * height[r1, c1])
        out[i] = xyz[i, 2] - z
    return out


def _ground_class(xyz: Floats, classes: NDArray | None) -> Bools | None:
    """The points of class 2, if they lie like ground: thin over each metre of plan, under the rest, over more than a stem's foot."""
    if classes is None or len(classes) != len(xyz):
        return None
    mask = np.asarray(classes) == GROUND_CLASS
    if mask.sum() < 50 or mask.all():
        return None
    p = xyz[mask]
    grid = _grid_over(xyz, 1.0)
    low, _ = _lowest(p, grid.corner, 1.0, *grid.shape, 1)
    lowest, _ = _lowest(xyz, grid.corner, 1.0, *grid.shape, 1)
    seen = np.isfinite(low)
    c = ((p[:, :2] - grid.corner) / 1.0).astype(int)
    thick = p[:, 2] - low[np.minimum(c[:, 1], grid.shape[0] - 1), np.minimum(c[:, 0], grid.shape[1] - 1)] > 1.5
    under = np.mean(low[seen] - lowest[seen] < 0.5)
    return mask if seen.sum() >= 4 and thick.mean() < 0.03 and under > 0.8 else None


def _cell_for(xyz: Floats, settings: TerrainSettings) -> float:
    """The set cell, or as large as some 6 points per occupied cell ask for."""
    cell = settings.cell
    sample = xyz[:: max(1, len(xyz) // 200_000), :2]
    share = len(sample) / len(xyz)
    for _ in range(8):
        i = np.floor((sample - sample.min(axis=0)) / cell).astype(np.int64)
        occupied = len(np.unique(i[:, 0] * (i[:, 1].max() + 1) + i[:, 1]))
        span = (i.max(axis=0) + 1).prod()
        if len(sample) / share / occupied >= 4 and span < 4e6:
            break
        cell *= 1.4
    return float(cell)


def _grid_over(xyz: Floats, cell: float) -> _Grid:
    low, high = xyz[:, :2].min(axis=0), xyz[:, :2].max(axis=0)
    cols, rows = np.maximum(np.floor((high - low) / cell).astype(int) + 1, 1)
    return _Grid(low, cell, (int(rows), int(cols)))


@njit(cache=True)
def _lowest(xyz, corner, cell, rows, cols, support=3):  # type: ignore[no-untyped-def]
    """Height and place of the lowest point of each cell that has `support` - 1 others within 15 cm above it (of the cell's 8 lowest)."""
    k = 8
    z = np.full((rows, cols, k), np.inf)
    who = np.full((rows, cols, k), -1, np.int64)
    for i in range(len(xyz)):
        c = min(max(int((xyz[i, 0] - corner[0]) / cell), 0), cols - 1)
        r = min(max(int((xyz[i, 1] - corner[1]) / cell), 0), rows - 1)
        v = xyz[i, 2]
        if v >= z[r, c, k - 1]:
            continue
        j = k - 1
        while j > 0 and z[r, c, j - 1] > v:
            z[r, c, j], who[r, c, j] = z[r, c, j - 1], who[r, c, j - 1]
            j -= 1
        z[r, c, j], who[r, c, j] = v, i
    low = np.full((rows, cols), np.nan)
    at = np.zeros((rows, cols, 2))
    for r in range(rows):
        for c in range(cols):
            at[r, c, 0] = corner[0] + (c + 0.5) * cell
            at[r, c, 1] = corner[1] + (r + 0.5) * cell
            if who[r, c, 0] < 0:
                continue
            pick = 0
            for j in range(k - support + 1):
                if z[r, c, j + support - 1] - z[r, c, j] < 0.15:
                    pick = j
                    break
            low[r, c] = z[r, c, pick]
            at[r, c, 0], at[r, c, 1] = xyz[who[r, c, pick], 0], xyz[who[r, c, pick], 1]
    return low, at


def _mean_plane(at: Floats, low: Floats) -> Floats:
    """Plane a x + b y + c under most of the lowest points: least squares, again and again on those not far above it."""
    ok = np.isfinite(low)
    p, z = at[ok], low[ok]
    centre = p.mean(axis=0)
    a = np.column_stack([p - centre, np.ones(len(p))])
    if len(z) < 6:
        return np.array([0.0, 0.0, float(z.min()) if len(z) else 0.0])
    keep = np.ones(len(z), bool)
    fit = np.array([0.0, 0.0, float(np.median(z))])
    for _ in range(20):
        fit = np.linalg.lstsq(a[keep], z[keep], rcond=None)[0]
        miss = z - a @ fit
        spread = 1.5 * np.median(np.abs(miss[keep])) + 0.05
        again = (miss < spread) & (miss > -4 * spread)
        if again.sum() < 6 or np.array_equal(again, keep):
            break
        keep = again
    if np.hypot(*fit[:2]) > 1.2:
        fit = np.array([0.0, 0.0, float(np.median(z))])
    return np.array([fit[0], fit[1], fit[2] - fit[:2] @ centre])


def _without_strays(flat: Floats) -> Floats:
    """Cells far below all their surroundings are echoes from under the ground: taken out."""
    filled = np.where(np.isfinite(flat), flat, np.inf)
    rank = ndimage.percentile_filter(np.where(np.isfinite(flat), flat, 1e6), 25, size=5, mode="nearest")
    lone = filled < rank - 0.6
    lone &= ndimage.uniform_filter(lone.astype(float), 5, mode="nearest") < 0.25
    return np.where(lone | ~np.isfinite(flat), np.nan, flat)


def _opened(flat: Floats, cell: float, settings: TerrainSettings, *, already_ground: bool) -> Bools:
    """Cells whose lowest point stays when things narrower than growing windows are cut off."""
    ok = np.isfinite(flat)
    if already_ground or not ok.any():
        return ok
    z = _filled(flat)
    size, last = 1, max(1, round(settings.widest_object / cell))
    while True:
        pad = size + 1
        wide = np.pad(z, pad, mode="reflect" if min(z.shape) > pad else "edge")
        window = 2 * size + 1
        opened = ndimage.grey_opening(wide, size=(window, window))[pad:-pad, pad:-pad]
        rough = 0.15 + 0.25 * min(settings.steepest * size * cell, 4.0)
        cut = z - opened > rough
        ok &= ~cut
        z = np.where(cut, opened, z)
        if size >= last:
            break
        size = min(last, max(size + 1, round(size * 1.7)))
    return ok


def _without_bumps(flat: Floats, bare: Bools, cell: float) -> Bools:
    """Kept cells that stand out above the mean of the kept ones around them (shrubs, low crowns) go, the highest first."""
    sigma = 1.6 / cell
    for limit in (1.2, 0.8, 0.5, 0.35, 0.35, 0.35):
        w = ndimage.gaussian_filter(bare.astype(float), sigma, mode="constant")
        mean = ndimage.gaussian_filter(np.where(bare, flat, 0.0), sigma, mode="constant") / np.maximum(w, 1e-9)
        bare = bare & ~(np.where(bare, flat, -np.inf) - mean > limit)
    return bare


def _patch_or_level(xyz: Floats, settings: TerrainSettings) -> Ground:
    """Ground of a cut-out tree: the plane of a small patch of ground left round the stem, else level ground at its lowest points."""
    z = lowest_supported(xyz)
    level = _level_at_stem(xyz, z, settings)
    p = xyz[(xyz[:, 2] >= z) & (xyz[:, 2] < z + 1.0)]
    cell, keep = 0.25, np.ones(len(p), bool)
    fit = np.array([0.0, 0.0, float(np.median(p[:, 2]))])
    centre = np.append(np.median(p[:, :2], axis=0), 0.0)
    a = np.column_stack([p[:, :2] - centre[:2], np.ones(len(p))])
    for _ in range(10):
        if keep.sum() < 20:
            break
        fit = np.linalg.lstsq(a[keep], p[keep, 2], rcond=None)[0]
        keep = np.abs(p[:, 2] - a @ fit) < 0.08
    plan = np.unique(np.floor(p[keep, :2] / cell), axis=0) * cell
    wide = len(plan) * cell**2 >= 0.8 and np.linalg.eigvalsh(np.cov(plan.T))[0] > 0.25**2
    sunk = np.mean(p[:, 2] - a @ fit < -0.12) > 0.02
    if not wide or sunk or np.hypot(*fit[:2]) > 1.0 or keep.mean() < 0.25:
        return Ground(level, False, (Reason("no_ground"),))
    rows, cols = level.height.shape
    y, x = np.mgrid[0:rows, 0:cols] + 0.5
    d = np.stack([x, y], axis=-1) * level.cell + level.corner - centre[:2]
    away = np.linalg.norm(d, axis=-1)
    height = fit[2] + (d @ fit[:2]) * np.minimum(1.0, 3.0 / np.maximum(away, 1e-9))
    near = cKDTree(plan).query(d + centre[:2])[0] < level.cell
    note = Reason("small_patch_of_ground", continued=3.0)
    return Ground(Terrain(height, level.corner, level.cell, near), True, (note,))


def _lies_like_ground(flat: Floats, cell: float, classed: bool) -> bool:
    """True when enough cells lie in one plane with their neighbours, as ground does and the underside of a crown does not."""
    rows, cols = np.nonzero(np.isfinite(flat))
    if len(rows) * cell**2 < 3.0 or len(rows) < 12:
        return False
    p = np.column_stack([cols * cell, rows * cell, flat[rows, cols]])
    _, near = cKDTree(p[:, :2]).query(p[:, :2], k=min(13, len(p)))
    q = p[near] - p[near].mean(axis=1, keepdims=True)
    value, vector = np.linalg.eigh(np.einsum("nki,nkj->nij", q, q) / q.shape[1])
    rms, steep = np.sqrt(np.maximum(value[:, 0], 0)), np.abs(vector[:, 2, 0])
    good = (rms < (0.25 if classed else 0.10) + 0.03 * cell) & (steep > 0.7)
    return bool(good.sum() * cell**2 >= 3.0 and good.mean() > 0.35)


def _filled(flat: Floats) -> Floats:
    """Unseen cells filled smoothly from their surroundings (membrane), by relaxing on ever finer grids."""
    ok = np.isfinite(flat)
    if ok.all() or not ok.any():
        return np.where(ok, flat, 0.0)
    if min(flat.shape) > 8:
        rows, cols = (-(-s // 2) for s in flat.shape)
        pad = np.full((rows * 2, cols * 2), np.nan)
        pad[: flat.shape[0], : flat.shape[1]] = flat
        blocks = pad.reshape(rows, 2, cols, 2)
        count = np.isfinite(blocks).sum(axis=(1, 3))
        half = np.where(count > 0, np.nansum(blocks, axis=(1, 3)) / np.maximum(count, 1), np.nan)
        start = ndimage.zoom(_filled(half), 2, order=1, mode="nearest", grid_mode=True)[: flat.shape[0], : flat.shape[1]]
    else:
        index = ndimage.distance_transform_edt(~ok, return_distances=False, return_indices=True)
        start = flat[tuple(index)]
    z = np.where(ok, flat, start)
    for _ in range(30):
        p = np.pad(z, 1, mode="edge")
        z = np.where(ok, flat, (p[:-2, 1:-1] + p[2:, 1:-1] + p[1:-1, :-2] + p[1:-1, 2:]) / 4)
    return z


def _settled(used: Floats, plane: Floats, surface: Floats, grid: _Grid) -> tuple[Floats, Bools]:
    """The surface moved onto the points close to it (median offset per cell), three times in a narrowing band; and where there were such points."""
    resid = used[:, 2] - (used[:, :2] @ plane[:2] + plane[2])
    gate = resid < np.nanmax(surface) + 1.0
    p = np.column_stack([used[gate, :2], resid[gate]])
    seen = np.zeros(grid.shape, bool)
    for band_low, band_high in ((0.5, 0.3), (0.2, 0.12), (0.12, 0.08)):
        over = _above(p, surface, grid.corner, grid.cell)
        close = (over > -band_low) & (over < band_high)
        offset, seen = _median_by_cell(p[close], over[close], grid, 0.4)
        surface = _filled(np.where(seen, surface + np.where(seen, offset, 0.0), np.nan)) if seen.any() else surface
        surface = _smoothed(surface, seen)
    return surface, seen


def _median_by_cell(p: Floats, value: Floats, grid: _Grid, quantile: float) -> tuple[Floats, Bools]:
    """A quantile of a value per cell (rows, cols), and which cells have at least three values."""
    rows, cols = grid.shape
    c = np.clip(((p[:, :2] - grid.corner) / grid.cell).astype(np.int64), 0, [cols - 1, rows - 1])
    key = c[:, 1] * cols + c[:, 0]
    order = np.lexsort((value, key))
    count = np.bincount(key, minlength=rows * cols)
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    pick = np.minimum(first + (count * quantile).astype(int), max(len(value) - 1, 0))
    out = np.where(count > 0, value[order][pick], np.nan) if len(value) else np.full(rows * cols, np.nan)
    return out.reshape(rows, cols), (count >= 3).reshape(rows, cols)


def _smoothed(z: Floats, seen: Bools) -> Floats:
    """Light smoothing that keeps slopes: a seen cell moves a third of the way to the mean of its neighbours, an unseen one all the way."""
    p = np.pad(z, 1, mode="reflect", reflect_type="odd") if min(z.shape) > 1 else np.pad(z, 1, mode="edge")
    mean = (p[:-2, 1:-1] + p[2:, 1:-1] + p[1:-1, :-2] + p[1:-1, 2:]) / 4
    return z + np.where(seen, 1 / 3, 1.0) * (mean - z)


def _continued(t: Terrain, reach: float) -> Terrain:
    """The same terrain with a margin around it: the smoothed edge continued along the large-scale slope, flagged not measured."""
    n = round(reach / t.cell)
    if n == 0:
        return t
    rows, cols = t.height.shape
    y, x = np.mgrid[0:rows, 0:cols].astype(float)
    w = np.where(t.measured, 1.0, 0.05)
    a = np.stack([x.ravel(), y.ravel(), np.ones(x.size)], axis=1)
    sw = w.ravel()
    fit = np.linalg.lstsq(a * sw[:, None], t.height.ravel() * sw, rcond=None)[0]
    if not t.measured.any() or np.hypot(*fit[:2]) > 1.2 * t.cell:
        fit = np.array([0.0, 0.0, float(np.median(t.height))])
    trend = (a @ fit).reshape(rows, cols)
    left = np.pad(ndimage.gaussian_filter(t.height - trend, 2.0 / t.cell, mode="nearest"), n, mode="edge")
    left = ndimage.gaussian_filter(left, 3.0 / t.cell, mode="nearest")
    yy, xx = np.mgrid[-n : rows + n, -n : cols + n].astype(float)
    away = np.hypot(np.maximum(np.maximum(-xx, xx - cols + 1), 0), np.maximum(np.maximum(-yy, yy - rows + 1), 0)) * t.cell
    height = fit[0] * xx + fit[1] * yy + fit[2] + left * np.exp(-away / 10.0)
    near = np.pad(t.height, n, mode="edge") - np.pad(trend, n, mode="edge") + fit[0] * xx + fit[1] * yy + fit[2]
    height += np.exp(-away / 1.5) * (near - height)
    height[n : n + rows, n : n + cols] = t.height
    return Terrain(height, t.corner - n * t.cell, t.cell, np.pad(t.measured, n, constant_values=False))


def _level_at_stem(xyz: Floats, z: float, settings: TerrainSettings) -> Terrain:
    """Level ground at height z under a cut-out tree."""
    half = max(np.ptp(xyz[:, 0]), np.ptp(xyz[:, 1])) / 2 + settings.reach
    return Terrain.flat(z, (xyz[:, :2].min(axis=0) + xyz[:, :2].max(axis=0)) / 2, float(np.ceil(half)), 1.0)


def lowest_supported(xyz: Floats) -> float:
    """Height of the lowest point that is no stray: the scan goes on above it without a gap of half a metre. [m]"""
    z = np.sort(xyz[:, 2])
    low = z[: max(10, len(z) // 20)]
    gaps = np.nonzero(np.diff(low) > 0.5)[0]
    stray = [g for g in gaps if g + 1 < max(5, len(z) // 2000)]
    return float(z[stray[-1] + 1] if stray else z[0])
