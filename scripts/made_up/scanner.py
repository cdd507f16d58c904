"""A simulated laser scanner: beams with a footprint against triangles, and every error a real scan has.

Errors: range noise, mixed pixels where the footprint straddles an edge, returns from twigs thinner than the beam (they look thicker), drop-out at
grazing incidence and weak returns, registration error per position, drift of a moving scanner, wind between and during scans.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from made_up.meshes import PARTS, Part
from made_up.stations import Station
from made_up.wind import Wind
from treescan.cloud.point_cloud import LOCAL, Frame, PointCloud

Floats = NDArray[np.float64]

REFLECTIVITY = np.array([0.38, 0.34, 0.45, 0.30, 0.36, 0.45, 0.60, 0.12, 0.5, 0.42])
"""Of each part in `PARTS`, in the near infrared (choices)."""

BEAMS_AT_ONCE = 1_200_000
SUB_WEIGHT = np.array([0.28] + [0.12] * 6)
"""Power in the middle of the beam and in six places round it, at 0.62 of the footprint's radius (a Gaussian beam in seven pieces)."""


@dataclass(frozen=True)
class Instrument:
    """A scanner and how good it is.

    Attributes
    ----------
    range_sd, ppm : float   Range noise: sd = sqrt(range_sd^2 + (ppm 1e-6 range)^2). [m], [-]
    exit, divergence : float    Diameter of the beam at the scanner [m] and its full opening [rad].
    resolve : float         Surfaces nearer than this along one beam merge into one range. [m]
    least : float           Weakest share of the beam that still gives a return.
    returns : int           Most returns per beam.
    reach : float           Longest range. [m]
    registration : float    Sd per axis of a position's shift, and of its turn seen 15 m away. [m]
    drift : float           Sd of a moving scanner's slow position error. [m]
    """

    range_sd: float = 0.003
    ppm: float = 20.0
    exit: float = 0.005
    divergence: float = 0.0003
    resolve: float = 0.15
    least: float = 0.14
    returns: int = 1
    reach: float = 80.0
    registration: float = 0.003
    drift: float = 0.0


TRIPOD = Instrument()
PERFECT = Instrument(range_sd=0.0, ppm=0.0, exit=0.0, divergence=0.0, registration=0.0)
WALKED = Instrument(range_sd=0.02, ppm=0.0, exit=0.008, divergence=0.003, registration=0.004, drift=0.012, reach=40.0)
DRONE = Instrument(range_sd=0.015, ppm=0.0, exit=0.01, divergence=0.0005, resolve=0.4, returns=3, registration=0.015, reach=150.0, least=0.1)


@dataclass(frozen=True)
class Scan:
    """What the scanner brought home, with the truth of every point.

    Attributes
    ----------
    xyz : (n, 3) float      As registered. [m]
    part : (n,) uint8       Index into `PARTS`.
    node : (n,) int32       Node of the grown tree (of its own tree for neighbours), -1 for other things.
    station : (n,) uint8    Number of the position, from 1.
    intensity : (n,) uint16
    return_number : (n,) uint8
    spread : (n,) float32   How far apart along the beam the surfaces were that made the range: > 0 only where the footprint straddled an edge. [m]
    """

    xyz: Floats
    part: NDArray[np.uint8]
    node: NDArray[np.int32]
    station: NDArray[np.uint8]
    intensity: NDArray[np.uint16]
    return_number: NDArray[np.uint8]
    spread: NDArray[np.float32]

    def __len__(self) -> int:
        return len(self.xyz)

    def where(self, mask: NDArray) -> Scan:
        """The points a mask or index picks."""
        return Scan(*(getattr(self, k)[mask] for k in ("xyz", "part", "node", "station", "intensity", "return_number", "spread")))

    def of(self, *labels: str) -> NDArray[np.bool_]:
        """True for points of these parts, (n,)."""
        return np.isin(self.part, [PARTS.index(x) for x in labels])

    def cloud(self, frame: Frame = LOCAL, source: str = "made-up scan") -> PointCloud:
        """What a user would get: points, intensity, position number; no labels."""
        columns = {"intensity": self.intensity, "scan": self.station.astype(np.uint16), "return_number": self.return_number}
        return PointCloud(self.xyz, frame, columns, source)


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


@dataclass
class _Kept:
    """Columns collected block by block."""

    rows: list[tuple] = field(default_factory=list)

    def joined(self) -> Scan:
        kinds = (np.float64, np.uint8, np.int32, np.uint8, np.uint16, np.uint8, np.float32)
        if not self.rows:
            return Scan(np.zeros((0, 3)), *(np.zeros(0, k) for k in kinds[1:]))  # type: ignore[arg-type]
        return Scan(*(np.concatenate([r[i] for r in self.rows]).astype(k) for i, k in enumerate(kinds)))


def scan(
    parts: list[Part],
    stations: list[Station],
    instrument: Instrument = TRIPOD,
    *,
    seed: int = 0,
    wind: Wind | None = None,
    targets: Targets | None = None,
) -> Scan:
    """Scan the scene from every station; same seed, same points.

    Parameters
    ----------
    parts : list of Part        The scene. Nodes of "wood", "dead wood", "leaf" and "ivy" are the asked tree's.
    stations : list of Station
    wind : Wind                 Sway of the asked tree.
    targets : Targets           The same scene made ready before, to save time.
    """
    targets = targets or Targets(parts)
    kept = _Kept()
    for place, station in enumerate(stations):
        number = station.number - 1 if station.number else place
        rows, cols = station.shape
        block = max(4, BEAMS_AT_ONCE // cols)
        turn, move = _misplaced(instrument, seed, number)
        busy = _busy_tiles(targets, station)
        for first in range(0, rows, block):
            rng = np.random.default_rng([seed, place, first])
            got = _shoot(targets, station, first, min(first + block, rows), instrument, rng, number, wind, busy)
            xyz = got[0]
            centre = station.path[0]
            kept.rows.append(((xyz - centre) @ turn.T + centre + move, *got[1:]))
    return kept.joined()


def fitted_step(targets: Targets, stations: list[Station], points: int, instrument: Instrument) -> list[Station]:
    """The same stations with the angular step that gives about so many returns off the ground (from a coarse trial)."""
    hits = 0.0
    for s in stations:
        if s.coarse:
            continue
        coarse = s.with_step(s.step * max(1.0, float(np.sqrt(np.prod(s.shape) / 60_000))))
        origin, direction, _ = coarse.beams(0, coarse.shape[0])
        t, part, *_ = targets.hit(origin, direction, False)
        hits += np.count_nonzero((t < instrument.reach) & (part != PARTS.index("ground"))) / np.prod(coarse.shape) * np.prod(s.shape)
    return [s if s.coarse else s.with_step(s.step * float(np.sqrt(hits / points))) for s in stations]


def _misplaced(instrument: Instrument, seed: int, number: int) -> tuple[Floats, Floats]:
    """Rotation matrix and shift of one position's registration error; the mean over positions is not removed."""
    rng = np.random.default_rng([seed, number, 99])
    w = rng.normal(0, instrument.registration / 15.0, 3)
    k = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]])
    return np.eye(3) + k + k @ k / 2, rng.normal(0, instrument.registration, 3)


TILE = 0.03
"""Edge of the patches of the dome that are either scanned in full or, with only ground, wall or sky in them, with a sixteenth of the beams [rad]."""


def _busy_tiles(targets: Targets, station: Station) -> NDArray[np.bool_] | None:
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


def _cast_where(station: Station, first: int, last: int, busy: NDArray[np.bool_] | None) -> NDArray[np.int64]:
    """Beams of rows first..last-1 that are cast: all in busy patches, every fourth of every fourth row elsewhere."""
    cols = station.shape[1]
    if busy is None:
        return np.arange((last - first) * cols)
    tile = max(8, round(TILE / station.step))
    i, j = np.arange(first, last), np.arange(cols)
    full = busy[(i // tile)[:, None], (j // tile)[None, :]]
    return np.nonzero((full | ((i % 4 == 0)[:, None] & (j % 4 == 0)[None, :])).ravel())[0]


def _shoot(
    targets: Targets,
    station: Station,
    first: int,
    last: int,
    ins: Instrument,
    rng: np.random.Generator,
    number: int,
    wind: Wind | None,
    busy: NDArray | None,
) -> tuple:
    """One block of rows."""
    cast = _cast_where(station, first, last, busy)
    origin, direction, time = station.beams(first, last, cast)
    t, part, node, cosine = targets.hit(origin, direction)
    edge = np.zeros(len(t), bool)
    if ins.exit + ins.divergence > 0:
        edge = _edges(t, part, cosine, cast, (last - first, station.shape[1]), max(station.step, station.line_step / 10))
        edge = _widened(edge, t, cast, (last - first, station.shape[1]), station.step, ins)
    plain = ~edge & (t < ins.reach)
    rows = [_returns(np.nonzero(plain)[0], t[plain], part[plain], node[plain], np.ones(plain.sum()), np.ones(plain.sum()), np.zeros(plain.sum()))]
    if edge.any():
        rows += _mixed(targets, np.nonzero(edge)[0], origin, direction, t, part, node, ins, rng)
    beam, range_, part_, node_, weight, number_, spread = (np.concatenate([r[i] for r in rows]) for i in range(7))
    facing = np.where(edge[beam], 0.8, cosine[beam])
    keep = (range_ < ins.reach) & (rng.uniform(size=len(beam)) < _chance(facing, range_, weight, part_, ins))
    beam, range_, part_, node_, weight, number_, spread, facing = (a[keep] for a in (beam, range_, part_, node_, weight, number_, spread, facing))
    sd = np.sqrt(ins.range_sd**2 + (ins.ppm * 1e-6 * range_) ** 2)
    xyz = origin[beam] + (range_ + rng.normal(0, 1, len(beam)) * sd)[:, None] * direction[beam]
    if ins.drift:
        xyz = xyz + _drift(time[beam], ins.drift, number)
    if wind is not None:
        moving = (node_ >= 0) & np.isin(part_, [PARTS.index(p) for p in ("wood", "dead wood", "leaf", "ivy")])
        xyz[moving] += wind.shift(node_[moving], time[beam[moving]], number)
    power = REFLECTIVITY[part_] * np.sqrt(np.maximum(facing, 0.02)) * weight * np.exp(rng.normal(0, 0.08, len(beam)))
    intensity = np.clip(power * 4095 / 0.7, 1, 4095)
    return xyz, part_, node_, np.full(len(beam), number + 1), intensity, number_, spread


def _edges(t: NDArray, part: NDArray, cosine: NDArray, cast: NDArray, shape: tuple[int, int], step: float) -> NDArray[np.bool_]:
    """Beams whose neighbours on the grid see something else: only there can a footprint straddle an edge."""
    sees = np.where(np.isfinite(t), part, 254).astype(np.uint8)
    near = np.where(np.isfinite(t), t, 0)
    slack = 0.015 + 3 * step * near * np.sqrt(np.maximum(1 - cosine**2, 0)) / np.maximum(cosine, 0.05)
    slack[np.isin(sees, [PARTS.index("ground"), PARTS.index("wall"), 254])] = np.inf
    t_, sees_, slack_ = (np.full(shape, v, a.dtype) for v, a in ((0, near), (255, sees), (np.inf, slack)))
    for full, values in ((t_, near), (sees_, sees), (slack_, slack)):
        full.reshape(-1)[cast] = values
    edge = np.zeros(shape, bool)
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
        a = (slice(0, shape[0] - dr), slice(max(0, -dc), shape[1] - max(0, dc)))
        b = (slice(dr, None), slice(max(0, dc), shape[1] + min(0, dc)))
        differ = (np.abs(t_[a] - t_[b]) > np.minimum(slack_[a], slack_[b])) | (sees_[a] != sees_[b])
        differ &= (sees_[a] != 255) & (sees_[b] != 255)
        edge[a] |= differ
        edge[b] |= differ
    return edge.reshape(-1)[cast]


def _widened(edge: NDArray, t: NDArray, cast: NDArray, shape: tuple[int, int], step: float, ins: Instrument) -> NDArray[np.bool_]:
    """Edges spread over as many beams as the footprint covers where beams lie closer than that."""
    if not edge.any():
        return edge
    hit = t[edge & np.isfinite(t)]
    near = float(np.percentile(hit, 20)) if len(hit) else 10.0
    reach = int(np.ceil(0.62 * (ins.exit / near + ins.divergence) / 2 / step))
    if reach <= 1:
        return edge
    grid = np.zeros(shape, bool)
    grid.reshape(-1)[cast] = edge
    return binary_dilation(grid, np.ones((3, 3), bool), reach - 1).reshape(-1)[cast]


def _mixed(
    targets: Targets,
    beam: NDArray,
    origin: Floats,
    direction: Floats,
    t0: NDArray,
    part0: NDArray,
    node0: NDArray,
    ins: Instrument,
    rng: np.random.Generator,
) -> list[tuple]:
    """Returns of beams at edges: seven rays share the footprint, hits near each other along the beam merge into their weighted mean."""
    o, d = origin[beam], direction[beam]
    e = np.cross(d, np.where(np.abs(d[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]]))
    e /= np.linalg.norm(e, axis=1, keepdims=True)
    f = np.cross(d, e)
    turn = rng.uniform(0, np.pi / 3, len(beam))
    n = len(beam)
    t, part, node = np.empty((n, 7), np.float32), np.empty((n, 7), np.uint8), np.empty((n, 7), np.int32)
    t[:, 0], part[:, 0], node[:, 0] = t0[beam], part0[beam], node0[beam]
    for k in range(6):
        a = turn + k * np.pi / 3
        across = 0.62 * (np.cos(a)[:, None] * e + np.sin(a)[:, None] * f)
        t[:, k + 1], part[:, k + 1], node[:, k + 1], _ = targets.hit(o + across * ins.exit / 2, d + across * ins.divergence / 2, False)
    hit = np.isfinite(t) & (t < ins.reach)
    weight = np.where(hit, SUB_WEIGHT, 0.0)
    order = np.argsort(np.where(hit, t, np.inf), axis=1)
    t, part, node, weight = (np.take_along_axis(x, order, 1) for x in (t, part, node, weight))
    t = np.where(weight > 0, t, 1e9)
    group = np.concatenate([np.zeros((n, 1), int), np.cumsum(np.diff(t, axis=1) > ins.resolve, axis=1)], axis=1)
    out = []
    given = np.zeros(n, int)
    for g in range(int(group.max()) + 1):
        mine = (group == g) & (weight > 0)
        w = np.where(mine, weight, 0.0)
        share = w.sum(axis=1)
        ok = (share >= ins.least) & (given < ins.returns)
        if not ok.any():
            continue
        given += ok
        w, share, mine = w[ok], share[ok], mine[ok]
        mean = (w * np.where(mine, t[ok], 0)).sum(axis=1) / share
        spread = np.where(mine, t[ok], -np.inf).max(axis=1) - np.where(mine, t[ok], np.inf).min(axis=1)
        nearest = np.argmin(np.where(mine, np.abs(t[ok] - mean[:, None]) - w * 1e-3, np.inf), axis=1)[:, None]
        out.append(
            _returns(
                beam[ok],
                mean,
                np.take_along_axis(part[ok], nearest, 1)[:, 0],
                np.take_along_axis(node[ok], nearest, 1)[:, 0],
                share,
                given[ok],
                spread,
            )
        )
    return out


def _returns(beam: NDArray, range_: NDArray, part: NDArray, node: NDArray, weight: NDArray, number: NDArray, spread: NDArray) -> tuple:
    return beam, range_.astype(np.float64), part, node, weight.astype(np.float64), number, spread


def _chance(facing: NDArray, range_: Floats, weight: Floats, part: NDArray, ins: Instrument) -> Floats:
    """Chance that a return is strong enough: falls at grazing incidence, for dark things, and near the end of the reach."""
    power = REFLECTIVITY[part] * np.maximum(facing, 0) * weight * np.minimum(1.0, (0.6 * ins.reach / np.maximum(range_, 0.1)) ** 2)
    return np.clip(power / 0.025, 0.0, 1.0)


def _drift(time: Floats, sd: float, number: int) -> Floats:
    """Slow position error of a moving scanner, (m, 3): three waves per axis."""
    rng = np.random.default_rng([number, 4241])
    out = np.zeros((len(time), 3))
    for pace in (1.3, 2.9, 6.1):
        out += sd * np.sqrt(2 / 3) * np.sin(2 * np.pi * pace * time[:, None] + rng.uniform(0, 2 * np.pi, 3))
    return out


def one_per_cell(scan_: Scan, cell: NDArray | float, seed: int = 0) -> NDArray[np.int64]:
    """Indices of one real point per cube of edge `cell` [m] (a number, or one per point): thinning that keeps the noise."""
    rng = np.random.default_rng([seed, 17])
    order = rng.permutation(len(scan_))
    size = np.broadcast_to(np.asarray(cell, float), (len(scan_),))[order]
    key = np.floor((scan_.xyz[order] - scan_.xyz.min(axis=0)) / size[:, None]).astype(np.int64)
    tag = (np.round(size * 10000).astype(np.int64) << 48) ^ (key[:, 0] << 32) ^ (key[:, 1] << 16) ^ key[:, 2]
    _, first = np.unique(tag, return_index=True)
    return np.sort(order[first])
