"""Name, unit, meaning and source of every column of the tidy tables; the tables are made from this list, so
they cannot disagree."""

from __future__ import annotations

from typing import NamedTuple

from treescan.outputs.text.say import text

_CONFIGURATION = {"rank": "", "union": "", "system": "", "hardware": ""}
UNITS: dict[str, dict[str, str]] = {
    "anchors": {
        "rank": "",
        "union": "",
        "place": "",
        "x": "m",
        "y": "m",
        "z": "m",
        "height": "m",
        "system": "",
        "hardware": "",
        "usable": "",
        "verdict": "",
        "force_kn": "kN",
        "multiple_of_weight": "",
        "margin_median": "",
        "margin_p5": "",
        "overload_chance": "",
        "chance_told": "",
        "governing_node": "",
        "governing_mode": "",
        "utilisation": "",
        "deflection_m": "m",
        "isolation_class": "",
        "chance": "",
        "expected_throws": "",
        "stand_x": "m",
        "stand_y": "m",
        "stand_z": "m",
        "azimuth_deg": "degree",
        "elevation_deg": "degree",
        "speed_ms": "m/s",
        "method": "",
        "captured": "",
        "workings": "",
        "fallback": "",
        "coverage_share": "",
        "worst_angle_deg": "degree",
        "swing_m": "m",
        "rope_m": "m",
        "throwline_m": "m",
        "score": "",
        "rank_stability": "",
        "reasons": "",
        "reasons_data": "",
    },
    "unions": {
        "union": "",
        "place": "",
        "node": "",
        "x": "m",
        "y": "m",
        "z": "m",
        "height": "m",
        "parent_diameter": "m",
        "parent_diameter_sd": "m",
        "aspect_ratio": "",
        "limb": "",
        "continues": "",
        "diameter": "m",
        "diameter_sd": "m",
        "attachment_deg": "degree",
        "slope_deg": "degree",
        "flags": "",
    },
    "limbs": {
        "limb": "",
        "parent_limb": "",
        "branch_order": "",
        "segments": "",
        "length": "m",
        "base_diameter": "m",
        "tip_diameter": "m",
        "volume": "m3",
        "seen_share": "",
        "fit_for": "",
        "measured_share": "",
        "rescan": "",
        "rescan_data": "",
    },
    "sections": {
        **_CONFIGURATION,
        "step": "",
        "node": "",
        "height": "m",
        "diameter": "m",
        "diameter_sd": "m",
        "oval": "",
        "oval_azimuth": "degree",
        "oval_slope": "degree",
        "seen": "",
        "moment": "N m",
        "torsion": "N m",
        "axial": "N",
        "shear": "N",
        "stress": "Pa",
        "strength": "Pa",
        "utilisation": "",
        "governing": "",
    },
    "throws": {
        "union": "",
        "union_place": "",
        "isolation_class": "",
        "place": "",
        "stand_x": "m",
        "stand_y": "m",
        "stand_z": "m",
        "method": "",
        "azimuth_deg": "degree",
        "elevation_deg": "degree",
        "speed_ms": "m/s",
        "chance": "",
        "rest_distance_m": "m",
        "slides": "",
        "captured": "",
        "workings": "",
        "least_weight_kg": "kg",
    },
    "coverage": {
        "candidate": "",
        **_CONFIGURATION,
        "point": "",
        "work_point": "",
        "x": "m",
        "y": "m",
        "z": "m",
        "kind": "",
        "weight": "",
        "height": "m",
        "radius": "m",
        "angle_deg": "degree",
        "served": "",
        "fouled_by": "",
    },
    "strata": {
        "height_class": "",
        "distance_class": "",
        "height_from": "m",
        "height_to": "m",
        "distance_from": "m",
        "distance_to": "m",
        "points": "",
        "weight": "",
        "by_rope": "",
        "any_way": "",
    },
    "cuts": {
        "cut": "",
        "piece": "",
        "x": "m",
        "y": "m",
        "z": "m",
        "height": "m",
        "diameter": "m",
        "diameter_sd": "m",
        "length_m": "m",
        "mass_kg": "kg",
        "mass_p5_kg": "kg",
        "mass_p95_kg": "kg",
        "centre_x": "m",
        "centre_y": "m",
        "centre_z": "m",
        "moment_nm": "N m",
        "life_support": "",
        "life_support_p5": "",
        "block": "",
        "rope_over": "",
        "block_rest_kn": "kN",
        "block_use_kn": "kN",
        "block_use_p5": "",
        "drop_m": "m",
        "block_stopped_kn": "kN",
        "block_stopped_p5": "",
        "swing_m": "m",
        "swing_ms": "m/s",
        "alarm_count": "",
        "lost": "",
        "hang": "",
        "alarms": "",
        "alarms_data": "",
    },
}
"""Table to its columns in their order, each with its unit."""

SHARED = frozenset(
    {
        "captured",
        "diameter_sd",
        "hardware",
        "method",
        "rank",
        "stand_y",
        "stand_z",
        "system",
        "workings",
        "y",
        "z",
    }
)
"""Columns that mean the same in every table that has them."""


class Column(NamedTuple):
    """One column of one table."""

    table: str
    name: str
    unit: str

    @property
    def meaning(self) -> str:
        """What it holds, for the reader."""
        return text(f"column_{self.name}" if self.name in SHARED else f"column_{self.table}_{self.name}")

    @property
    def source(self) -> str:
        """Where it comes from: "scan" for what was measured, else keys of `treescan.sources`, parted by
        semicolons."""
        return _COLUMN_SOURCE.get(self.name, _TABLE_SOURCE[self.table])


CODEBOOK: tuple[Column, ...] = tuple(
    Column(table, name, unit) for table, columns in UNITS.items() for name, unit in columns.items()
)
"""Every column, table by table, in column order."""


def columns_of(table: str) -> list[str]:
    """Names of the columns of one table, in their order."""
    return list(UNITS[table])


SCAN = "scan"
_LOADS = "geometry; kane_arwade_2022; kane_2020_stops; kane_2020_basal; basal_two; mu_bark"
_STRENGTH = "geometry; bark_effect; wood_handbook_read; wood_handbook; section_strength; kane_2007; handbook_cov; hidden_defects"
_FLIGHT = "geometry; throw_speed; throw_spread; blunt_body_drag; standard_air; snag_law; line_friction"
_RANKED = "project_choice; common_practice"
_TABLE_SOURCE = {
    "anchors": SCAN,
    "unions": SCAN,
    "limbs": SCAN,
    "sections": SCAN,
    "throws": _FLIGHT,
    "coverage": "geometry",
    "strata": "geometry; redirect_angle; project_choice",
    "cuts": "geometry; stopped_piece; donzelli_1999; delaney_2022; mu_bark; rigging_drop_tests; arrest_force; project_choice",
}
_COLUMN_SOURCE = {
    **dict.fromkeys(
        ("rank", "score", "rank_stability", "usable", "verdict", "reasons", "reasons_data"), _RANKED
    ),
    **dict.fromkeys(("system", "hardware"), "common_practice"),
    **dict.fromkeys(("force_kn", "multiple_of_weight", "moment", "torsion", "axial", "shear"), _LOADS),
    **dict.fromkeys(
        (
            "margin_median",
            "margin_p5",
            "overload_chance",
            "chance_told",
            "governing_node",
            "governing_mode",
            "utilisation",
            "governing",
            "strength",
            "stress",
        ),
        _STRENGTH,
    ),
    "deflection_m": "geometry; spatz_2013; wood_handbook",
    **dict.fromkeys(
        (
            "isolation_class",
            "chance",
            "expected_throws",
            "azimuth_deg",
            "elevation_deg",
            "speed_ms",
            "method",
            "workings",
        ),
        _FLIGHT,
    ),
    **dict.fromkeys(("stand_x", "stand_y", "stand_z"), "scan; conductor_10m; project_choice"),
    "captured": _FLIGHT,
    "fallback": "geometry; arrest_force; en1891_bounds",
    "least_weight_kg": "line_friction; capstan; line_mass",
    **dict.fromkeys(
        ("coverage_share", "served", "worst_angle_deg"), "geometry; redirect_angle; project_choice"
    ),
    "swing_m": "geometry",
    **dict.fromkeys(("rope_m", "throwline_m"), "geometry; common_practice"),
    "flags": "scan; dahle_2022; slater_ennos_2015",
}
