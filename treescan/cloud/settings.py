"""What the intake takes for a stray point, a rounding grid, a doubtful height."""

from __future__ import annotations

from dataclasses import dataclass

from treescan.settings import setting


@dataclass(frozen=True)
class CloudSettings:
    """Settings of the intake."""

    stray_points: int = setting(
        5,
        "points",
        "a group of at most so many points, alone in its surroundings, is left out as stray",
        "project_choice",
        low=0,
        high=1000,
    )
    stray_gap: float = setting(
        5.0,
        "m",
        "how far around a stray group nothing else may be; 15 times the spacing where that is more",
        "project_choice",
        low=0.5,
        high=100.0,
    )
    window: float = setting(
        40.0,
        "m",
        "with --at, points farther than this from the asked place, along x or y, are left out while reading: "
        "room for a wide crown and all that is kept round it",
        "project_choice",
        low=20.0,
        high=1000.0,
    )
    rounding_step: float = setting(
        0.004,
        "m",
        "coordinates rounded to at least this step are reported",
        "project_choice",
        low=1e-4,
        high=1.0,
    )
    tallest_tree: float = setting(
        116.0,
        "m",
        "nothing living is taller: greater heights raise a doubt about the unit",
        "tallest_tree",
        low=10.0,
        high=200.0,
    )


@dataclass(frozen=True)
class JoinSettings:
    """Settings of joining several scans of one tree."""

    cell: float = setting(
        0.02, "m", "points are thinned to this for the close fit", "project_choice", low=0.005, high=0.1
    )
    reach: float = setting(
        0.05,
        "m",
        "points with the other scan this near count as overlap",
        "project_choice",
        low=0.01,
        high=0.5,
    )
    min_overlap: float = setting(
        0.25,
        "share",
        "of what stands off the ground, this much must overlap, or the scans are not joined",
        "project_choice",
        low=0.05,
        high=1.0,
    )
    largest_residual: float = setting(
        0.03,
        "m",
        "median closest distance over the overlap above which scans are not joined",
        "project_choice",
        low=0.002,
        high=0.2,
    )
    max_tilt: float = setting(
        0.1745,
        "rad",
        "scans are upright: a fit that leans more is thrown out",
        "project_choice",
        low=0.0,
        high=0.6,
    )
    min_move: float = setting(
        0.010,
        "m",
        "a fit that moves no point farther leaves the scan as it is: twice what the fit itself is off",
        "project_choice",
        low=0.0,
        high=0.05,
    )
    rival: float = setting(
        0.8,
        "share",
        "another place that fits at least this well next to the best makes the answer ambiguous",
        "project_choice",
        low=0.3,
        high=1.0,
    )
    candidates: int = setting(
        6,
        "places",
        "likely turns and shifts that are tried where frames differ",
        "project_choice",
        low=1,
        high=50,
    )
    seed: int = setting(0, "", "picks the points to fit by", "project_choice", low=0)
