"""What is published of the strength of green wood? The rows of `green_wood.csv`.

Small clear specimens, green, one row per species and source. `standing` says whether the number was read or
recalled.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path


@dataclass(frozen=True)
class Row:
    """One line of the table; NaN where the source states nothing. Strengths [Pa], density [kg/m3]."""

    common: str
    botanical: str
    kind: str
    mor: float
    moe: float
    compression: float
    shear: float
    sg: float
    density: float
    mor_cov: float
    elastic_limit: float
    use_also_for: str
    source: str
    standing: str


@cache
def green_wood() -> tuple[Row, ...]:
    """The table, in file order."""

    def number(text: str, factor: float = 1.0) -> float:
        return float(text) * factor if text else float("nan")

    with (Path(__file__).parent / "green_wood.csv").open(newline="", encoding="utf-8") as handle:
        return tuple(
            Row(
                r["common"],
                r["botanical"],
                r["kind"],
                number(r["mor_mpa"], 1e6),
                number(r["moe_gpa"], 1e9),
                number(r["compression_mpa"], 1e6),
                number(r["shear_mpa"], 1e6),
                number(r["sg"]),
                number(r["density_kg_m3"]),
                number(r["mor_cov"]),
                number(r["elastic_limit_mpa"], 1e6),
                r["use_also_for"],
                r["source"],
                r["standing"],
            )
            for r in csv.DictReader(handle)
        )
