"""From where, which way and how well does each instrument measure?

Classes of instrument, not makes; figures of their usual data sheets from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from second_bench.axis import smooth_noise
from second_bench.beams import Caster, footprint, grid_returns, merged_returns


@dataclass(frozen=True)
class Scan:
    """Measured points (n, 3) [m]; the places truly hit, without noise, drift and wind; kind, owner,
    source, number.
    """

    xyz: np.ndarray
    true: np.ndarray
    kind: np.ndarray
    owner: np.ndarray
    source: np.ndarray
    number: np.ndarray

    def taken(self, keep) -> Scan:
        """Those of a mask or of indices."""
        return Scan(*(getattr(self, f)[keep] for f in self.__dataclass_fields__))


@dataclass(frozen=True)
class Target:
    """What is to be covered: radius around the stem and height [m]; slope of the ground (2,)."""

    radius: float
    height: float
    slope: tuple[float, float]

    def on_ground(self, x, y, above):
        """A place so high above the ground."""
        return np.array([x, y, self.slope[0] * x + self.slope[1] * y + above])


@dataclass(frozen=True)
class Wind:
    """Sway of the crown: size at the top [m], period [s], heading."""

    size: float = 0.0
    period: float = 3.5
    azimuth: float = 0.0

    def shift(self, xyz, time, height, rng_phase):
        """(n, 3) displacement of places at their times."""
        if self.size == 0:
            return np.zeros_like(xyz)
        lever = np.clip(xyz[:, 2] / height, 0, 1.2) ** 2
        sway = 0.4 + 0.6 * np.sin(2 * np.pi * time / self.period + rng_phase)
        own = 0.5 * np.sin(2 * np.pi * time / (0.4 * self.period) + 1.7 * xyz[:, 0] + 1.3 * xyz[:, 1])
        along = np.array([np.cos(self.azimuth), np.sin(self.azimuth), 0.0])
        aside = np.array([-along[1], along[0], 0.2])
        return self.size * lever[:, None] * (sway[:, None] * along + own[:, None] * aside)


def _small_turn(rng, sd):
    """A rotation by small random angles [rad]."""
    a, b, c = rng.normal(0, sd, 3)
    return np.array([[1, -c, b], [c, 1, -a], [-b, a, 1]])


def _sees_stem(caster, at):
    """Whether nothing stands in the first six tenths of the way to the stem, nor around the instrument."""
    way = np.array([0.0, 0.0, at[2] + 0.6]) - at
    far = float(np.linalg.norm(way))
    first, _ = caster.first(at, np.vstack([way / far, -way / far, [1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0]]))
    return bool(first[0] > 0.6 * far and first[1:].min() > 0.8)


def _scan(caster, origin, direction, returns, noise, time, wind, target, rng, source, moved=None):
    """Points of returns: true places, then range noise and wind, then whatever `moved` adds."""
    o = origin if np.ndim(origin) == 1 else origin[returns.beam]
    d = direction[returns.beam]
    true = o + returns.distance[:, None] * d
    sd = noise[0] + noise[1] * returns.distance
    kind = caster.kind[returns.triangle]
    xyz = true + (rng.normal(size=len(true)) * sd)[:, None] * d
    sways = np.isin(kind, (1, 2, 7, 8, 9))
    xyz[sways] += wind.shift(true[sways], time[returns.beam][sways], target.height, 0.0)
    if moved is not None:
        xyz = moved(xyz, returns.beam)
    return Scan(xyz, true, kind, caster.owner[returns.triangle], np.full(len(xyz), source), returns.number)


def _together(scans):
    return Scan(*(np.concatenate([getattr(s, f) for s in scans]) for f in Scan.__dataclass_fields__))


def tripod(
    caster: Caster,
    target: Target,
    rng,
    positions=3,
    step_deg=0.05,
    noise=(0.0015, 0.00008),
    half_angle=0.00015,
    gap=0.3,
    registration=0.003,
    wind=Wind(),
    distance=(0.55, 0.95),
) -> Scan:
    """From tripods around the tree, at places that see the stem."""
    scans = []
    start = rng.uniform(0, 2 * np.pi)
    for p in range(positions):
        away = float(np.clip(target.height * rng.uniform(*distance), 4.5, 15.0))
        for _ in range(10):
            azimuth = start + 2 * np.pi * p / positions + rng.normal(0, 0.25)
            at = target.on_ground(away * np.cos(azimuth), away * np.sin(azimuth), rng.uniform(1.5, 1.8))
            if _sees_stem(caster, at):
                break
            start += 0.5
        step = np.deg2rad(step_deg)
        half = min(np.arctan2(target.radius, max(away - 0.3 * target.radius, 1.0)), 1.3)
        high = np.arctan2(target.height - at[2] + 0.5, max(away - 0.5 * target.radius, 1.0))
        el = np.r_[np.arange(-0.6, -0.2, 3 * step), np.arange(-0.2, min(high, 1.45), step)]
        rest = np.arange(half, 2 * np.pi - half, 4 * step)
        az = azimuth + np.pi + np.r_[np.arange(-half, half, step), rest]
        e, a = np.meshgrid(el, az, indexing="ij")
        direction = np.stack([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)], axis=-1)
        returns = grid_returns(caster, at, direction, half_angle, 0.0018, gap)
        time = np.broadcast_to(np.arange(len(az)) * (60.0 / len(az)), a.shape).ravel() + 1000.0 * p
        turn, move = _small_turn(rng, registration / 15), rng.normal(0, registration * (p > 0), 3)
        scans.append(
            _scan(
                caster,
                at,
                direction.reshape(-1, 3),
                returns,
                noise,
                time,
                wind,
                target,
                rng,
                p + 1,
                lambda xyz, _, turn=turn, move=move, at=at: (xyz - at) @ turn.T + at + move,
            )
        )
    return _together(scans)


def _drifted(rng, beams, time, drift):
    """Slow error of a moving platform's place over time, returned as a function on points."""
    n = 400
    curve = drift * smooth_noise(rng, n, 1.0, 60.0, 3) * [1.0, 1.0, 0.7]
    curve -= curve[0]
    s = (time - time.min()) / max(np.ptp(time), 1e-9) * (n - 1)

    def moved(xyz, beam):
        return xyz + np.stack([np.interp(s[beam], np.arange(n), curve[:, k]) for k in range(3)], axis=1)

    return moved


def _moving(
    caster,
    target,
    rng,
    origin,
    direction,
    time,
    noise,
    half_angle,
    exit_radius,
    gap,
    most,
    share,
    drift,
    wind,
    rays,
):
    d, t = footprint(caster, origin, direction, half_angle, exit_radius, rays)
    returns = merged_returns(d, t, gap, share, most)
    return _scan(
        caster,
        origin,
        direction,
        returns,
        noise,
        time,
        wind,
        target,
        rng,
        1,
        _drifted(rng, len(direction), time, drift),
    )


def walked(caster, target, rng, beams=2_200_000, noise=(0.009, 0.0002), drift=0.012, wind=Wind()) -> Scan:
    """A hand-held instrument carried around the tree twice, near and farther off."""
    f = np.sort(rng.random(beams))
    turn = 4 * np.pi * f + rng.uniform(0, 2 * np.pi)
    away = np.where(f < 0.5, 0.35, 0.6) * min(target.height, 16.0) + 0.4 * np.sin(3 * turn)
    x, y = away * np.cos(turn), away * np.sin(turn)
    origin = np.column_stack(
        [x, y, target.slope[0] * x + target.slope[1] * y + 1.5 + 0.05 * np.sin(60 * turn)]
    )
    a = turn + np.pi + rng.uniform(-1.0, 1.0, beams)
    e = np.deg2rad(rng.uniform(-25, 88, beams))
    direction = np.column_stack([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
    return _moving(
        caster, target, rng, origin, direction, 180.0 * f, noise, 0.0009, 0.004, 0.5, 1, 0.3, drift, wind, 5
    )


def vehicle(caster, target, rng, noise=(0.006, 0.0001), drift=0.008, wind=Wind()) -> Scan:
    """Two profile scanners on a car that passes on one side."""
    away = rng.uniform(4.5, 8.0)
    for _ in range(10):
        side = rng.uniform(0, 2 * np.pi)
        way, across = np.array([np.cos(side), np.sin(side)]), np.array([-np.sin(side), np.cos(side)])
        if _sees_stem(caster, target.on_ground(*(-away * across), 2.2)):
            break
    s = np.arange(-16, 16, 0.025)
    el = np.deg2rad(np.arange(-25, 88, 0.22))
    parts, at, times = [], [], []
    for yaw in (np.pi / 4, -np.pi / 4):
        flat = np.cos(yaw) * across + np.sin(yaw) * way
        d = np.stack(
            [np.cos(el)[:, None] * flat[0], np.cos(el)[:, None] * flat[1], np.sin(el)[:, None]], axis=-1
        )[:, 0]
        place = s[:, None] * way - away * across
        o = np.column_stack([place, place @ np.asarray(target.slope) + 2.2])
        parts.append(np.tile(d, (len(s), 1)))
        at.append(np.repeat(o, len(el), axis=0))
        times.append(np.repeat(s, len(el)))
    return _moving(
        caster,
        target,
        rng,
        np.vstack(at),
        np.vstack(parts),
        np.concatenate(times),
        noise,
        0.0005,
        0.003,
        0.5,
        2,
        0.25,
        drift,
        wind,
        5,
    )


def _from_above(
    caster, target, rng, lines, height, beams, spread_deg, noise, half_angle, exit_radius, gap, drift, wind
):
    half = target.radius
    parts, at, times = [], [], []
    for k in range(lines):
        heading = rng.uniform(0, np.pi) if lines < 3 else k * np.pi / lines
        way, across = (
            np.array([np.cos(heading), np.sin(heading)]),
            np.array([-np.sin(heading), np.cos(heading)]),
        )
        off = rng.uniform(-0.5, 0.5) * height * np.tan(np.deg2rad(spread_deg))
        n = beams // lines
        s, u = rng.uniform(-half, half, n), rng.uniform(-half, half, n)
        z0 = s * (way @ np.asarray(target.slope))
        o = np.column_stack([s[:, None] * way + off * across, np.full(n, height)])
        aim = np.column_stack(
            [s[:, None] * way + u[:, None] * across, z0 + rng.uniform(0, 0.7, n) * target.height]
        )
        d = aim - o
        parts.append(d / np.linalg.norm(d, axis=1)[:, None])
        at.append(o)
        times.append(s + 1000 * k)
    return _moving(
        caster,
        target,
        rng,
        np.vstack(at),
        np.vstack(parts),
        np.concatenate(times),
        noise,
        half_angle,
        exit_radius,
        gap,
        3,
        0.2,
        drift,
        wind,
        6,
    )


def drone(caster, target, rng, wind=Wind()) -> Scan:
    """A small drone's scanner, crossing lines 45 to 60 m up."""
    return _from_above(
        caster,
        target,
        rng,
        6,
        rng.uniform(45, 60),
        1_000_000,
        30,
        (0.012, 0.0001),
        0.0008,
        0.01,
        0.5,
        0.015,
        wind,
    )


def airborne(caster, target, rng, wind=Wind()) -> Scan:
    """An aeroplane's scanner: two lines, some twenty pulses a square metre."""
    n = int(2 * 22 * (2 * target.radius) ** 2)
    return _from_above(caster, target, rng, 2, 700.0, n, 18, (0.02, 0.0), 0.00018, 0.02, 0.8, 0.03, wind)
