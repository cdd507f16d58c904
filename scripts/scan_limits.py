"""How thin a limb can a scan tell to 5 % at which distance? An error budget, from figures of instruments alone.

    python scripts/scan_limits.py            two tables as markdown

Nothing is read from treescan's code. A limb of diameter D stands across the beam at distance d; a piece of it, 10 cm or a
diameter long, gives one circle. Its error has these parts:

* chance: N returns, each off by s; the radius is off by k s / sqrt(N), k = 1 all round and 2.3 on half a round (least
  squares: k = 1 / sqrt(1 - c^2 / q), c and q the means of cos and cos^2 over the arc seen);
* shell: a circle through points that scatter by n comes out n^2 / 2 r too thick; it is taken off, with a third of doubt in n;
* beam: at a limb's edge the part of the beam that hits stands for its middle, so points lie up to half a beam outside; a
  circle with edges weighted down keeps an eighth of the beam's width (measured on simulated limbs of 4 cm, leaf-off tripod);
* places: K positions, or passes of a moving one, off each other by p; half a round moved by p along the view moves a circle
  by 2 / pi of that, so the radius is off by k (2 / pi) p / sqrt(K); tripods are brought together on the limbs to 2 mm;
* wind: the limb moved by w between them, the same way; one position sees the sway as noise;
* bark: furrows 2 % of the radius deep, twelve round the limb.

`total` is the square root of the sum of squares, the beam's part as it stands.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

FACING = 2 / np.pi
"""Mean of the cosine over the half of a limb that a position sees."""
EDGE = 0.125
"""Share of the beam's width that stays in a diameter."""
TOGETHER = 0.002
"""Tripod positions are brought together to this [m]."""
FURROW, FURROWS = 0.02, 12
"""Depth of furrows as a share of the radius, and how many go round."""
LEAST_PIECE = 0.10
"""A circle is read from so much of a limb at least [m]."""
LEAST_RETURNS = 6
"""Fewer say nothing of a circle."""
TOLD = 0.05
"""A diameter is told when its error is this share of it at most."""


@dataclass(frozen=True)
class Instrument:
    """A class of instrument, data-sheet figures from memory (those of `second_bench/instruments.py`).

    Attributes
    ----------
    name : str
    noise : (float, float)      Of the range: at nothing, and for every metre. [m], [m/m]
    exit, spread : float        Beam's width as it leaves, and for every metre. [m], [m/m]
    step : float                Between returns, for every metre of distance. [m/m]
    along : float               Between profiles where it moves, not growing with distance; 0: it stands. [m]
    places : float              Positions or passes off each other. [m]
    sides : int                 Positions or passes that see a limb.
    arc : float                 Of its round that they see together. [deg]
    distances : tuple           [m]
    """

    name: str
    noise: tuple[float, float]
    exit: float
    spread: float
    step: float
    along: float
    places: float
    sides: int
    arc: float
    distances: tuple[float, ...]


TRIPOD = Instrument(
    "tripod, four positions",
    noise=(0.002, 8e-5),
    exit=0.0036,
    spread=0.00036,
    step=np.deg2rad(0.07),
    along=0.0,
    places=0.0035,
    sides=4,
    arc=360.0,
    distances=(5.0, 10.0, 20.0, 30.0),
)
INSTRUMENTS = (
    TRIPOD,
    replace(TRIPOD, name="tripod, two positions", sides=2),
    replace(TRIPOD, name="tripod, one position", places=0.0, sides=1, arc=180.0),
    Instrument("walked", (0.009, 2e-4), 0.008, 0.0018, 0.0024, 0.0, 0.012, 4, 360.0, (5.0, 10.0, 20.0)),
    Instrument(
        "vehicle, one side",
        (0.006, 1e-4),
        0.006,
        0.0010,
        np.deg2rad(0.22),
        0.0125,
        0.008,
        2,
        270.0,
        (5.0, 10.0, 20.0),
    ),
    Instrument("drone", (0.012, 1e-4), 0.02, 0.0016, 0.0007, 0.0, 0.015, 6, 210.0, (30.0, 50.0, 80.0)),
    Instrument("airborne", (0.02, 0.0), 0.04, 0.00036, 0.0003, 0.0, 0.03, 2, 210.0, (500.0, 700.0)),
)


def lever(arc: float) -> float:
    """How much more a radius is unsure when only `arc` [deg] of the round is seen."""
    a = np.deg2rad(arc) / 2
    c, q = np.sin(a) / a, 0.5 + np.sin(2 * a) / (4 * a)
    return float(1 / np.sqrt(1 - c * c / q))


def parts(i: Instrument, d: float, diameter: float, wind: float = 0.0) -> dict[str, float]:
    """Every part of a diameter's error, as a share of it, and the returns they rest on.

    Parameters
    ----------
    d, diameter, wind : float       Distance, true diameter, and how far the limb moved between positions. [m]
    """
    r, piece = diameter / 2, max(LEAST_PIECE, diameter)
    noise = i.noise[0] + i.noise[1] * d
    across = i.step * d
    returns = i.sides * diameter * piece / (across * (i.along or across))
    if returns < LEAST_RETURNS:
        return {"returns": returns, "total": np.inf}
    k = lever(i.arc)
    stands = i.name.startswith("tripod")
    places = min(i.places, TOGETHER) if stands else i.places
    shell = np.hypot(noise, wind / np.sqrt(2) if i.sides == 1 else 0.0 if stands else i.places)
    out = {
        "chance": k * (shell if i.sides == 1 else noise) / np.sqrt(returns) / r,
        "shell": 2 * shell**2 / (3 * r) / r,
        "beam": EDGE * (i.exit + i.spread * d) / diameter,
        "places": k * FACING * places / np.sqrt(i.sides) / r,
        "wind": k * FACING * wind / np.sqrt(i.sides) / r if i.sides > 1 else 0.0,
        "bark": k * FURROW / np.sqrt(FURROWS),
    }
    return {"returns": returns, **out, "total": float(np.sqrt(sum(v * v for v in out.values())))}


def thinnest(i: Instrument, d: float, wind: float = 0.0) -> float:
    """Least diameter told to 5 %; infinite where none under two metres is. [m]"""
    sizes = np.geomspace(0.005, 2.0, 600)
    good = np.array([parts(i, d, s, wind)["total"] <= TOLD for s in sizes])
    return (
        float(sizes[np.flatnonzero(~good)[-1] + 1])
        if not good.all() and good[-1]
        else np.inf
        if not good[-1]
        else float(sizes[0])
    )


def table_of_limits() -> list[str]:
    """Thinnest limb told to 5 %, calm and when limbs moved by 2 cm, and what weighs most there."""
    rows = [
        "| instrument | distance m | beam there mm | thinnest, calm cm | what weighs most | limb moved 2 cm: cm |",
        "|---|---|---|---|---|---|",
    ]
    for i in INSTRUMENTS:
        for d in i.distances:
            calm, moved = thinnest(i, d), thinnest(i, d, 0.02)
            found = (
                {k: v for k, v in parts(i, d, calm).items() if k not in ("returns", "total")}
                if np.isfinite(calm)
                else {}
            )
            most = (
                ", ".join(f"{k} {100 * v:.1f} %" for k, v in sorted(found.items(), key=lambda kv: -kv[1])[:2])
                or "too few returns on any limb"
            )
            rows.append(
                f"| {i.name} | {d:.0f} | {1000 * (i.exit + i.spread * d):.0f} | {_cm(calm)} | {most} | {_cm(moved)} |"
            )
    return rows


def table_of_errors(middle: dict[str, float]) -> list[str]:
    """Expected error of diameters of 4, 7, 14 and 28 cm at a bench's usual distance [m] per instrument."""
    sizes = (0.04, 0.07, 0.14, 0.28)
    rows = [
        "| instrument | at m | " + " | ".join(f"{100 * s:.0f} cm" for s in sizes) + " |",
        "|---|---|" + "---|" * len(sizes),
    ]
    for i in INSTRUMENTS:
        if i.name in middle:
            cells = (parts(i, middle[i.name], s)["total"] for s in sizes)
            rows.append(
                f"| {i.name} | {middle[i.name]:.0f} | "
                + " | ".join("no" if np.isinf(c) else f"{100 * c:.1f} %" for c in cells)
                + " |"
            )
    return rows


def _cm(size: float) -> str:
    return "none" if np.isinf(size) else f"{100 * size:.1f}"


BENCH = {
    "tripod, four positions": 11.0,
    "tripod, two positions": 11.0,
    "tripod, one position": 11.0,
    "walked": 8.0,
    "vehicle, one side": 9.0,
    "drone": 45.0,
    "airborne": 700.0,
}
"""About how far the second bench's instruments stand from the wood of a crown [m]."""


if __name__ == "__main__":
    print("\n".join([*table_of_limits(), "", *table_of_errors(BENCH)]))
