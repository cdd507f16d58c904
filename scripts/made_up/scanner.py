"""A simulated laser scanner: beams with a footprint against triangles, and every error a real scan has.

Errors: range noise, mixed pixels where the footprint straddles an edge, returns from twigs thinner than the beam (they look thicker), drop-out at
grazing incidence and weak returns, registration error per position, drift of a moving scanner, wind between and during scans.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from made_up.footprint import edges, mixed, returns, widened
from made_up.instruments import TRIPOD, Instrument
from made_up.meshes import PARTS, Part
from made_up.scan import Scan
from made_up.stations import Station
from made_up.targets import Targets, busy_tiles, cast_where
from made_up.wind import Wind

Floats = NDArray[np.float64]

REFLECTIVITY = np.array([0.38, 0.34, 0.45, 0.30, 0.36, 0.45, 0.60, 0.12, 0.5, 0.42])
"""Of each part in `PARTS`, in the near infrared (choices)."""

BEAMS_AT_ONCE = 1_200_000


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
        busy = busy_tiles(targets, station)
        for first in range(0, rows, block):
            got = _shoot(targets, station, first, min(first + block, rows), instrument, (seed, place, number), wind, busy)
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


def _shoot(
    targets: Targets,
    station: Station,
    first: int,
    last: int,
    ins: Instrument,
    drawn: tuple[int, int, int],
    wind: Wind | None,
    busy: NDArray | None,
) -> tuple:
    """One block of rows; `drawn` is the seed, the station's place in the list and its number."""
    seed, place, number = drawn
    rng = np.random.default_rng([seed, place, first])
    cast = cast_where(station, first, last, busy)
    origin, direction, time = station.beams(first, last, cast)
    t, part, node, cosine = targets.hit(origin, direction)
    edge = np.zeros(len(t), bool)
    if ins.exit + ins.divergence > 0:
        edge = edges(t, part, cosine, cast, (last - first, station.shape[1]), max(station.step, station.line_step / 10))
        edge = widened(edge, t, cast, (last - first, station.shape[1]), station.step, ins)
    plain = ~edge & (t < ins.reach)
    rows = [returns(np.nonzero(plain)[0], t[plain], part[plain], node[plain], np.ones(plain.sum()), np.ones(plain.sum()), np.zeros(plain.sum()))]
    if edge.any():
        rows += mixed(targets, np.nonzero(edge)[0], origin, direction, t, part, node, ins, rng)
    beam, range_, part_, node_, weight, number_, spread = (np.concatenate([r[i] for r in rows]) for i in range(7))
    facing = np.where(edge[beam], 0.8, cosine[beam])
    keep = (range_ < ins.reach) & (rng.uniform(size=len(beam)) < _chance(facing, range_, weight, part_, ins))
    beam, range_, part_, node_, weight, number_, spread, facing = (a[keep] for a in (beam, range_, part_, node_, weight, number_, spread, facing))
    sd = np.sqrt(ins.range_sd**2 + (ins.ppm * 1e-6 * range_) ** 2)
    xyz = origin[beam] + (range_ + rng.normal(0, 1, len(beam)) * sd)[:, None] * direction[beam]
    if ins.drift:
        xyz = xyz + _drift(time[beam], ins.drift, seed, number)
    if wind is not None:
        moving = (node_ >= 0) & np.isin(part_, [PARTS.index(p) for p in ("wood", "dead wood", "leaf", "ivy")])
        xyz[moving] += wind.shift(node_[moving], time[beam[moving]], number)
    power = REFLECTIVITY[part_] * np.sqrt(np.maximum(facing, 0.02)) * weight * np.exp(rng.normal(0, 0.08, len(beam)))
    intensity = np.clip(power * 4095 / 0.7, 1, 4095)
    return xyz, part_, node_, np.full(len(beam), number + 1), intensity, number_, spread


def _chance(facing: NDArray, range_: Floats, weight: Floats, part: NDArray, ins: Instrument) -> Floats:
    """Chance that a return is strong enough: falls at grazing incidence, for dark things, and near the end of the reach."""
    power = REFLECTIVITY[part] * np.maximum(facing, 0) * weight * np.minimum(1.0, (0.6 * ins.reach / np.maximum(range_, 0.1)) ** 2)
    return np.clip(power / 0.025, 0.0, 1.0)


def _drift(time: Floats, sd: float, seed: int, number: int) -> Floats:
    """Slow position error of a moving scanner, (m, 3): three waves per axis."""
    rng = np.random.default_rng([seed, number, 4241])
    out = np.zeros((len(time), 3))
    for pace in (1.3, 2.9, 6.1):
        out += sd * np.sqrt(2 / 3) * np.sin(2 * np.pi * pace * time[:, None] + rng.uniform(0, 2 * np.pi, 3))
    return out
