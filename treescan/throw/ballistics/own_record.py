"""How well does this person throw? Spread and mean error of the aim, worked out from a record of one's own throws."""

from __future__ import annotations

import csv
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np

from treescan.arrays import Floats
from treescan.errors import BadInput
from treescan.ordinary_file import check_ordinary
from treescan.spreadsheet import unguarded
from treescan.throw.ballistics.aim_scatter import turn_between
from treescan.throw.ballistics.flight import flights
from treescan.throw.settings import METHODS, AimError, Method, ThrowSettings
from treescan.units import G

COLUMNS = (
    "method",
    "distance_m",
    "aimed_height_m",
    "elevation_deg",
    "got_height_m",
    "got_side_m",
    "got_range_m",
)
"""Columns of a record: one throw a row."""

MIN_THROWS = 8
"""Throws of one method below which a spread is not worked out."""

DISTANCE, AIMED_HEIGHT, ELEVATION_DEG, GOT_HEIGHT, GOT_SIDE, GOT_RANGE = range(6)
"""Columns of a record that was read, as in `COLUMNS` after the method."""

TEN_PER_CENT = 1.2815516
"""The standard normal deviate that one in ten exceeds."""

NO_FIT = 0.05
"""A throw whose flight misses what was measured by more than this is refused. [m]"""

BELOW_HAND = -3.0
"""How far below the release flights are followed. [m]"""

MAX_SPEED = 80.0
"""No throw is faster. [m/s]"""

NEVER = -9.0
"""Height taken where a flight does not get that far. [m]"""

HALVINGS, NEWTON_STEPS, SHORTENINGS = 40, 15, 6
"""Of the speed's interval; towards a release; of a step that does not help."""


@dataclass(frozen=True)
class OwnSpread:
    """Spread of one method worked out from a record, for the next throw of a person who aims off by the mean error.

    Attributes
    ----------
    method : str
    throws : int            Rows used.
    sd : AimError           Standard deviations.
    high : AimError         Upper ends of the one-sided 90 % ranges of the three: few throws say little.
    bias : AimError         Mean error; what aiming off cures.
    """

    method: str
    throws: int
    sd: AimError
    high: AimError
    bias: AimError

    @property
    def settings(self) -> dict[str, float]:
        """What a method's settings become; values outside what a setting takes are brought to its limit, five figures."""
        limits = {f.name: (float(f.metadata["low"]), float(f.metadata["high"])) for f in fields(Method) if "low" in f.metadata}
        named = {f"{axis}_{what}": getattr(of, axis) for axis in self.sd._fields for what, of in (("sd", self.sd), ("bias", self.bias))}
        return {name: round(min(max(float(v), limits[name][0]), limits[name][1]), 5) for name, v in named.items()}


FARTHEST = 300.0
"""No throw and no launcher goes farther or higher. [m]  (Project choice.)"""


def read_record(path: Path) -> dict[str, Floats]:
    """Throws of a CSV by method, each (k, 6): distance, aimed height, elevation, then height and side error got, range got.

    Parameters
    ----------
    path : CSV with the columns `COLUMNS`. Heights and sides are read off on a mast, wall or stem at `distance_m` (side positive to the
        right), the range is where the bag first met level ground. All in metres above and from the release point, the elevation as aimed.
    """
    check_ordinary(path)
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            rows = list(csv.DictReader(stream))
    except (OSError, UnicodeDecodeError, csv.Error) as e:
        raise BadInput(
            "the record of throws cannot be read", file=str(path), remedy="give a CSV file in UTF-8"
        ) from e
    rows = [{k: unguarded(v) if isinstance(v, str) else v for k, v in row.items()} for row in rows]
    missing = [c for c in COLUMNS if not rows or c not in rows[0]]
    if missing:
        raise BadInput(
            f"the record of throws lacks {', '.join(missing)}",
            file=str(path),
            remedy=f"first line: {','.join(COLUMNS)}",
        )
    found: dict[str, list[list[float]]] = {}
    for number, row in enumerate(rows, start=2):
        name = (row["method"] or "").strip()
        if name not in METHODS:
            raise BadInput(
                f"line {number}: method '{name}' is not known",
                file=str(path),
                remedy="use hand, two_hand or launcher",
            )
        try:
            values = [float(row[c]) for c in COLUMNS[1:]]
        except (TypeError, ValueError) as e:
            raise BadInput(
                f"line {number} has a value that is not a number",
                file=str(path),
                remedy="write metres and degrees with a point",
            ) from e
        if not (
            np.isfinite(values).all()
            and values[DISTANCE] > 0
            and 0 < values[ELEVATION_DEG] < 90
            and values[GOT_RANGE] > values[DISTANCE]
            and np.abs(values).max() <= FARTHEST
        ):
            raise BadInput(
                f"line {number} cannot be a throw",
                file=str(path),
                remedy="distance and range above 0, the range beyond the distance, elevation 1 to 89, "
                f"nothing over {FARTHEST:g} m",
            )
        found.setdefault(name, []).append(values)
    return {name: np.array(v) for name, v in found.items()}


def release_of(
    distance: Floats, height: Floats, reach: Floats, settings: ThrowSettings
) -> tuple[Floats, Floats]:
    """Elevation [rad] and speed [m/s] of flights that pass `height` at `distance` and come down to the release level at `reach`. (k,) each.

    Without drag: z = x tan(a) (1 - x / R), so tan(a) = h / (d (1 - d / R)) and v^2 = g R / sin(2 a). Drag and line are then allowed for
    by Newton steps on the product's own flights, with numerical slopes, shortened where they do not help. A throw that fits no flight
    within 5 cm is refused.
    """
    d, h, r = (np.asarray(q, float) for q in (distance, height, reach))
    elevation = np.arctan2(h, d * (1 - d / r))
    speed = np.sqrt(G * r / np.maximum(np.sin(2 * elevation), 1e-6))
    off = _off(elevation, speed, d, h, r, settings)
    for _ in range(NEWTON_STEPS):
        da, dv = 1e-4, 1e-3
        by_a = (_off(elevation + da, speed, d, h, r, settings) - off) / da
        by_v = (_off(elevation, speed + dv, d, h, r, settings) - off) / dv
        det = by_a[0] * by_v[1] - by_v[0] * by_a[1]
        step_a = np.clip((off[0] * by_v[1] - by_v[0] * off[1]) / det, -0.1, 0.1)
        step_v = np.clip((by_a[0] * off[1] - off[0] * by_a[1]) / det, -3.0, 3.0)
        share = np.ones(len(d))
        for _ in range(SHORTENINGS):
            a, v = (
                np.clip(elevation - share * step_a, 0.02, 1.55),
                np.clip(speed - share * step_v, 1.0, MAX_SPEED),
            )
            new = _off(a, v, d, h, r, settings)
            worse = (new**2).sum(axis=0) > (off**2).sum(axis=0)
            if not worse.any():
                break
            share[worse] /= 3
        elevation, speed, off = (
            np.where(worse, elevation, a),
            np.where(worse, speed, v),
            np.where(worse, off, new),
        )
    missed = np.flatnonzero(np.abs(off).max(axis=0) > NO_FIT)
    if len(missed):
        i = int(missed[0])
        raise BadInput(
            f"no throw passes {h[i]:.1f} m up at {d[i]:.1f} m and comes down at {r[i]:.1f} m",
            remedy="measure that throw again or leave it out",
        )
    return elevation, speed


def _off(
    elevation: Floats, speed: Floats, distance: Floats, height: Floats, reach: Floats, settings: ThrowSettings
) -> Floats:
    """Height missed at the distance, and range missed on the release level, (2, k). [m]"""
    table = flights(elevation, speed, settings, floor=BELOW_HAND)
    out = np.empty((2, len(elevation)))
    for i, (z, step) in enumerate(zip(table.height, table.step, strict=True)):
        out[0, i] = _height_beyond(z, step, distance[i]) - height[i]
        out[1, i] = step * _comes_down(z) - reach[i]
    return out


def _comes_down(z: Floats) -> float:
    """Where a tabulated flight is last at the release level, in steps; one that is still up or rising at its end is carried on
    straight, or ends there."""
    last = min(int(np.flatnonzero(z >= 0.0)[-1]), len(z) - 2)
    fall = float(z[last] - z[last + 1])
    return last + float(z[last]) / fall if fall > 0 else float(len(z))


def _height_beyond(z: Floats, step: float, s: float) -> float:
    """Height of a tabulated flight at s, carried on straight beyond its end. [m]"""
    j = min(int(s / step), len(z) - 2)
    return float(z[j] + (s / step - j) * (z[j + 1] - z[j]))


def own_spread(record: dict[str, Floats], settings: ThrowSettings) -> tuple[OwnSpread, ...]:
    """Spread and bias of every method in a record; a method with fewer than `MIN_THROWS` throws is refused.

    Notes
    -----
    Every throw's error is its turn from the aim up and across the flight (`turn_between`), so that throws logged at
    one steepness say what to expect at another, taken back to an easy throw (`Method.wider_at`). Standard deviations
    with n - 1, times sqrt(1 + 1/n): the mean error that is aimed off is itself known to sd / sqrt(n) only. The upper
    ends are that x sqrt((n - 1) / chi2_{0.10, n - 1}), the chi-square quantile by Wilson and Hilferty. The aimed speed
    is that which carries the aimed elevation through the aimed height.
    """
    out = []
    for name, rows in record.items():
        n = len(rows)
        if n < MIN_THROWS:
            raise BadInput(
                f"{n} throws by {name} are too few for a spread",
                remedy=f"log at least {MIN_THROWS}, better 30",
            )
        distance, aimed, elevation = (
            rows[:, DISTANCE],
            rows[:, AIMED_HEIGHT],
            np.radians(rows[:, ELEVATION_DEG]),
        )
        off_plane = np.arctan2(rows[:, GOT_SIDE], distance)
        flown = distance / np.cos(off_plane)
        got_elevation, got_speed = release_of(flown, rows[:, GOT_HEIGHT], rows[:, GOT_RANGE], settings)
        aimed_speed = aimed_release(distance, aimed, elevation, settings)
        up, side = turn_between(elevation, off_plane, got_elevation)
        method = settings.method(name)
        wider = np.array([method.wider_at(v) for v in aimed_speed])
        errors = np.column_stack([side, up, got_speed / aimed_speed - 1]) / wider[:, None]
        sd = errors.std(axis=0, ddof=1) * np.sqrt(1 + 1 / n)
        f = n - 1
        low_quantile = f * (1 - 2 / (9 * f) - TEN_PER_CENT * np.sqrt(2 / (9 * f))) ** 3
        high = sd * np.sqrt(f / low_quantile)
        mean = errors.mean(axis=0)
        out.append(OwnSpread(name, n, _error(sd), _error(high), _error(mean)))
    return tuple(out)


def _error(a: Floats) -> AimError:
    return AimError(float(a[0]), float(a[1]), float(a[2]))


def aimed_release(distance: Floats, height: Floats, elevation: Floats, settings: ThrowSettings) -> Floats:
    """Speed at which a throw of this elevation passes the height at the distance, (k,). [m/s]  By bisection on the product's flights."""
    d, h, a = (np.asarray(q, float) for q in (distance, height, elevation))
    if np.any(np.tan(a) * d <= h):
        raise BadInput(
            "an aimed elevation points below its aimed height",
            remedy="aim higher, or give the elevation of the release in degrees",
        )
    low, high = np.full(len(d), 1.0), np.full(len(d), MAX_SPEED)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        table = flights(a, middle, settings, floor=BELOW_HAND)
        steps = np.arange(table.height.shape[1])
        z = np.array(
            [np.interp(d[i], steps * table.step[i], table.height[i], right=NEVER) for i in range(len(d))]
        )
        low, high = np.where(z < h, middle, low), np.where(z < h, high, middle)
    return (low + high) / 2
