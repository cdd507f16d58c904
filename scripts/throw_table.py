"""Are the chances of throws those of 200,000 throws by an isotropic thrower, and do own records give the thrower back?

    python scripts/throw_table.py            all tables (about 3 minutes of processor time)
    python scripts/throw_table.py --trees 4  fewer trees

The thrower is the independent one of tests/oracles/isotropic_thrower.py: directions turned alike in every direction
about the aim. First table: 20 grown trees, one throw each, by hand and by launcher in turn, the likeliest of those between 3 and
97 %; its chance as told, the share of 200,000 random throws that serve the union, the difference in standard errors, and
what a thrower whose azimuth scatters as little at 80 degrees as at 30 would be told. Second table: 8 single limbs, the
whole of it by the oracle (its own flights, its own window). Third: throwers who log 400 throws at 30, 60 and 80 degrees;
what the record says, and the chance of a window worked out from it beside the thrower's own.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
from hand_made_limbs import EAST, Limb, scene_of, upright
from oracles.isotropic_thrower import RHO, Weight, aim_speed, chance, chance_over, directions, fly
from scipy.stats import chi2
from strategies import alone, random_tree

from treescan.throw.ballistics.flight import flights
from treescan.throw.ballistics.own_record import own_spread
from treescan.throw.outcome.many_throws import table_throws, throw_many
from treescan.throw.scene.flight_scene import build_scene
from treescan.throw.scene.stances import standing_places
from treescan.throw.search.refine import fine_sample
from treescan.throw.search.search import search_throws
from treescan.throw.settings import Method, ThrowSettings
from treescan.throw.throw_path import Aim, Stances
from treescan.trees.beside import Site
from treescan.units import G

SEED, THROWS, EACH, LIMBS = 20261130, 200_000, 10, 8
CLEAR = 0.08
"""Radius of the single limbs and of the bag. [m]"""
STILL = dataclasses.replace(ThrowSettings(), wind_speed=0.0, methods=("hand", "launcher"))
LINE = Weight(line=0.002)
IN_ORACLE_AIR = dataclasses.replace(STILL, air_density=1.2)


class Row(NamedTuple):
    """One comparison: what it is, elevation [degrees], chance told, share of random throws and its standard error, and with the azimuth of
    a flat throw.
    """

    what: str
    degrees: float
    told: float
    thrown: float
    error: float
    flat_azimuth: float

    @property
    def off(self) -> float:
        """Difference in standard errors."""
        return (self.told - self.thrown) / self.error


def thrown(scene, feet, aim, method, union, isolation_class, rng, *, widened=True):
    """Share of `THROWS` random throws that serve a union in a class or better, and its standard error."""
    sd, n = method.spread_at(aim.speed), THROWS
    up, side = rng.normal(0.0, sd.elevation, n), rng.normal(0.0, sd.side, n)
    if widened:
        d = directions(0.0, aim.elevation, up, side)
        turn, elevation = np.arctan2(-d[:, 1], d[:, 0]), np.arcsin(np.clip(d[:, 2], -1.0, 1.0))
    else:
        turn, elevation = side, aim.elevation + up
    order = np.argsort(turn)
    planes = turn[order].reshape(-1, EACH).mean(axis=1) + aim.azimuth
    elevation = np.clip(elevation, 0.02, np.pi / 2 - 0.005)[order].reshape(-1, EACH)
    speed = rng.normal(aim.speed, sd.speed * aim.speed, elevation.shape)
    through = np.zeros(elevation.shape, bool)
    for part in np.array_split(np.arange(len(planes)), 20):
        table = flights(elevation[part].ravel(), speed[part].ravel(), STILL)
        rows = np.arange(len(table), dtype=np.int32).reshape(-1, EACH)
        found = throw_many(scene, feet, table_throws(planes[part], table.height, table.step, rows), union)
        serves = (found.isolation > 0) & (found.isolation <= isolation_class)
        through[part] = serves & (rng.random(serves.shape) < found.weight)
    p = float(through.mean())
    return p, float(np.sqrt(max(p * (1 - p), 1e-9) / n))


def on_trees(trees: int) -> list[Row]:
    """The first table: one throw on every tree."""
    out = []
    for seed in range(SEED, SEED + trees):
        graph = random_tree(seed)
        beside, rng = alone(graph), np.random.default_rng(seed)
        places = standing_places(graph, beside, Site(), STILL)
        some = Stances(places.xyz[:: max(1, len(places) // 10)])
        scene = build_scene(graph, beside, Site(), STILL)
        for name in STILL.methods[seed % 2 :][:1]:
            table = search_throws(graph, beside, Site(), some, dataclasses.replace(STILL, methods=(name,)))
            fit = [(t.chance, key) for key, t in table.best.items() if 0.03 < t.chance < 0.97]
            if not fit:
                continue
            union, k = max(fit)[1]
            t, method = table.best[union, k], STILL.method(name)
            aim = Aim(t.azimuth, t.elevation, t.speed)
            p, se = thrown(scene, t.stand, aim, method, union, k, rng)
            flat_p, _ = thrown(scene, t.stand, aim, method, union, k, rng, widened=False)
            out.append(Row(f"tree {seed - SEED + 1}, {name}, class {k}", np.degrees(t.elevation), t.chance, p, se, flat_p))
    return out


def on_limbs() -> list[Row]:
    """The second table: single limbs, flights and window by the oracle."""
    out, rng = [], np.random.default_rng(SEED)
    for i in range(LIMBS):
        height, degrees = rng.uniform(6.0, 14.0), rng.uniform(48.0, 82.0)
        e = np.radians(degrees)
        tree = upright([Limb(round(height, 2), EAST, length=6.0)], height=20.0)
        settings = dataclasses.replace(IN_ORACLE_AIR, reach_along=1.2)
        method = Method(speed_high=60.0, effort_growth=0.0) if i % 2 else dataclasses.replace(settings.launcher, effort_growth=0.0)
        top = round(height, 2) - settings.release_height
        d = 1.15 * 2 * top / np.tan(e)
        v = aim_speed(d, top + 0.7, e, LINE)
        middle, half = (0.18 + 1.35) / 2, (1.35 - 0.18) / 2
        told = fine_sample(
            scene_of(tree, settings), np.array([middle, -d, 0.0]), Aim(0.0, e, v), method, 0, settings
        ).chance(3)
        kw = {"side_sigma": method.side_sd, "weight": LINE, "n": THROWS, "seed": SEED + i}
        scatter = (e, v, method.elevation_sd, method.speed_sd)
        p, se = chance_over(d, top, CLEAR, half, *scatter, **kw)
        low = top + CLEAR * np.hypot(1.0, 0.15 * np.tan(e))
        q, _ = chance(d, low, 60.0, half, *scatter, **(kw | {"n": THROWS // 10}), az_is_sigma=True)
        out.append(Row(f"limb at {height:.1f} m, {'hand' if i % 2 else 'launcher'}", degrees, told, p, se, q))
    return out


def own_records() -> list[tuple[float, float, float, float, float, float]]:
    """The third table: logged at [degrees], side and up sd found [degrees], chance of a window at 65 degrees from the record, the thrower's
    own, and its standard error. The thrower scatters by 1.5 degrees across the flight and 2 degrees up, 4 % in speed.
    """
    out = []
    for degrees in (30.0, 60.0, 80.0):
        rng, n = np.random.default_rng(SEED), 400
        e, x = np.radians(degrees), {30.0: 4.0, 60.0: 3.0, 80.0: 1.0}[degrees]
        aimed = 0.75 * x * np.tan(e)
        v0 = aim_speed(x, aimed, e, LINE)
        d = directions(0.0, e, np.radians(2.0) * rng.standard_normal(n), np.radians(1.5) * rng.standard_normal(n))
        v = v0 * (1 + 0.04 * rng.standard_normal(n))
        y, z, *_ = fly((0, 0, 0), v[:, None] * d, LINE, plane_x=x)
        reach = _ranges(v[:, None] * d)
        rows = np.column_stack([np.full(n, x), np.full(n, aimed), np.full(n, degrees), z, -y, reach])
        easy = dataclasses.replace(IN_ORACLE_AIR, hand=dataclasses.replace(IN_ORACLE_AIR.hand, effort_growth=0.0))
        sd = own_spread({"hand": rows[np.isfinite(rows).all(axis=1) & (reach > 1.1 * np.hypot(x, y))]}, easy)[0].sd
        a = np.radians(65.0)
        w = aim_speed(8.0, 10.0, a, LINE)
        told, _ = chance(8.0, 9.4, 10.6, 0.6, a, w, sd.elevation, sd.speed, side_sigma=sd.side, weight=LINE, n=THROWS, seed=1)
        own, se = chance(8.0, 9.4, 10.6, 0.6, a, w, np.radians(2.0), 0.04, side_sigma=np.radians(1.5), weight=LINE, n=THROWS, seed=2)
        out.append((degrees, float(np.degrees(sd.side)), float(np.degrees(sd.elevation)), told, own, se))
    return out


def _ranges(velocity: np.ndarray, dt: float = 0.005) -> np.ndarray:
    """Level distance along its own way at which each flight comes down to the release level: the oracle's equation in its own plane by the
    midpoint rule.
    """
    drag = 0.5 * RHO * LINE.cd * np.pi * LINE.radius**2
    v = np.column_stack([np.hypot(velocity[:, 0], velocity[:, 1]), velocity[:, 2]])
    at, s, out = np.zeros_like(v), np.zeros(len(v)), np.full(len(v), np.nan)

    def rate(v, s):
        fast = np.linalg.norm(v, axis=1)
        return -((drag + LINE.line) * fast / (LINE.mass + LINE.line * s))[:, None] * v - np.array([0.0, G]), fast

    for _ in range(2000):
        a, fast = rate(v, s)
        middle = v + dt / 2 * a
        a, fast = rate(middle, s + dt / 2 * fast)
        new = at + dt * middle
        down = np.isnan(out) & (new[:, 1] <= 0) & (v[:, 1] < 0)
        share = at[down, 1] / (at[down, 1] - new[down, 1])
        out[down] = at[down, 0] + share * (new[down, 0] - at[down, 0])
        at, v, s = new, v + dt * a, s + dt * fast
        if not np.isnan(out).any():
            break
    return out


def told_as_table(title: str, rows: list[Row]) -> None:
    """Print one table and its chi-square."""
    print(f"\n{title}\n\n| throw | elevation | told | thrown | off [standard errors] | azimuth as when flat |\n|---|---|---|---|---|---|")
    for r in rows:
        print(f"| {r.what} | {r.degrees:.0f} | {r.told:.3f} | {r.thrown:.3f} | {r.off:+.1f} | {r.flat_azimuth:.3f} |")
    off = np.array([r.off for r in rows])
    miss = np.array([r.told - r.thrown for r in rows])
    print(
        f"\nroot mean square {np.sqrt((miss**2).mean()):.4f}, mean {miss.mean():+.4f}; chi-square {np.sum(off**2):.1f} of {len(off)}, "
        f"exceeded by chance in {chi2.sf(np.sum(off**2), len(off)):.3f}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--trees", type=int, default=20)
    parser.add_argument("--only", choices=("trees", "limbs", "records"))
    asked = parser.parse_args()
    if asked.only in (None, "trees"):
        told_as_table("Grown trees", on_trees(asked.trees))
    if asked.only in (None, "limbs"):
        told_as_table("Single limbs, all by the oracle", on_limbs())
    if asked.only not in (None, "records"):
        return
    print("\n| logged at | side found (1.5) | up found (2.0) | chance from the record | own | standard error |\n|---|---|---|---|---|---|")
    for row in own_records():
        print("| " + " | ".join(f"{q:.4g}" for q in row) + " |", flush=True)


if __name__ == "__main__":
    main()
