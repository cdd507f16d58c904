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
    rounding_step: float = setting(0.004, "m", "coordinates rounded to at least this step are reported", "project_choice", low=1e-4, high=1.0)
    tallest_tree: float = setting(
        116.0, "m", "nothing living is taller: greater heights raise a doubt about the unit", "tallest_tree", low=10.0, high=200.0
    )
