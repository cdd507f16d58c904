"""Name, unit, meaning and source of every column of the tidy tables; the tables are made from this list, so they cannot disagree."""

from __future__ import annotations

_RIG = {
    "rank": ("", "order in which to inspect; 0 = not ranked"),
    "union": ("", "label of the union"),
    "system": ("", "rope system"),
    "hardware": ("", "what holds the rope at the union"),
}

_TABLES: dict[str, dict[str, tuple[str, str]]] = {
    "anchors": {
        "rank": ("", "order in which to inspect; 0 = not ranked"),
        "union": ("", "label of the union"),
        "x": ("m", "of the union, easting or first coordinate of the cloud's frame"),
        "y": ("m", "northing or second coordinate"),
        "z": ("m", "height coordinate"),
        "height": ("m", "of the union above the terrain"),
        "system": ("", "rope system"),
        "hardware": ("", "what holds the rope at the union"),
        "usable": ("", "false where a gate stands against it"),
        "verdict": ("", "candidate, inspect first, not ranked or not assessable"),
        "force_kn": ("kN", "force on the union, governing load case"),
        "multiple_of_weight": ("", "of the climber's weight on the union at rest"),
        "margin_median": ("", "strength over stress at the weakest section, median"),
        "margin_p5": ("", "strength over stress, 5th percentile: decisions are made on it"),
        "governing_node": ("", "node of tree.json at the outer end of the weakest section"),
        "governing_mode": ("", "way the weakest section would go"),
        "utilisation": ("", "stress over strength of the weakest section, median"),
        "deflection_m": ("m", "bending of the wood under the governing load"),
        "isolation_class": ("", "of the line: 1 clean, 2 isolable, 3 over several limbs; empty = no throw found"),
        "chance": ("", "of one throw at the best aim, dispersion included"),
        "expected_throws": ("", "1 / chance"),
        "stand_x": ("m", "of the standing place, first coordinate of the cloud's frame"),
        "stand_y": ("m", "second coordinate"),
        "stand_z": ("m", "height coordinate"),
        "azimuth_deg": ("degree", "of the aim, clockwise from the second axis (north)"),
        "elevation_deg": ("degree", "of the aim above level"),
        "speed_ms": ("m/s", "of the bag at release"),
        "method": ("", "hand or launcher"),
        "captured": ("", "unions of the other limbs between the legs"),
        "workings": ("", "times the weight must be worked back"),
        "fallback": ("", "what catches if the union gives out, in order, with the drop"),
        "coverage_share": ("", "weighted share of the work served"),
        "worst_angle_deg": ("degree", "widest rope angle from plumb over the served work"),
        "swing_m": ("m", "sideways travel of the worst slip"),
        "rope_m": ("m", "climbing rope with tails"),
        "throwline_m": ("m", "throwline"),
        "score": ("", "weighted criteria, 0 to 1; empty = not ranked"),
        "rank_stability": ("", "share of the perturbed rankings in which it keeps its place"),
        "reasons": ("", "why, why not"),
    },
    "unions": {
        "union": ("", "label, lowest first"),
        "node": ("", "node of tree.json where the axes meet"),
        "x": ("m", "easting or first coordinate of the cloud's frame"),
        "y": ("m", "northing or second coordinate"),
        "z": ("m", "height coordinate"),
        "height": ("m", "above the terrain"),
        "parent_diameter": ("m", "just below the union, inside the scanned surface"),
        "parent_diameter_sd": ("m", "standard deviation; empty = not stated"),
        "aspect_ratio": ("", "smallest limb above over parent"),
        "limb": ("", "limb above the union that this row describes"),
        "continues": ("", "true for the continuation of the parent limb"),
        "diameter": ("m", "of that limb, past the flare"),
        "diameter_sd": ("m", "standard deviation"),
        "attachment_deg": ("degree", "from the parent limb's own direction"),
        "slope_deg": ("degree", "elevation of the limb just outside; negative = drooping"),
        "flags": ("", "words such as codominant, bridged"),
    },
    "limbs": {
        "limb": ("", "number of the limb; 0 is the stem"),
        "parent_limb": ("", "limb it leaves; -1 for the stem"),
        "branch_order": ("", "0 stem, 1 limb off a stem, 2 and up the rest"),
        "segments": ("", "number of pieces"),
        "length": ("m", "along the axis"),
        "base_diameter": ("m", "of its first piece"),
        "tip_diameter": ("m", "of its last piece"),
        "volume": ("m3", "of its pieces as cylinders"),
        "seen_share": ("", "part of the length that the scan saw rather than bridged"),
    },
    "sections": {
        **_RIG,
        "step": ("", "0 at the rope, counting down to the ground"),
        "node": ("", "node of tree.json at the outer end of the piece"),
        "height": ("m", "of that node above the stem's foot"),
        "diameter": ("m", "of the piece"),
        "diameter_sd": ("m", "standard deviation"),
        "seen": ("", "false where the scan saw a gap"),
        "moment": ("N m", "bending, governing load case"),
        "torsion": ("N m", "twisting"),
        "axial": ("N", "along the piece"),
        "shear": ("N", "across the piece"),
        "stress": ("Pa", "median bending-equivalent stress"),
        "strength": ("Pa", "median strength of that section"),
        "utilisation": ("", "stress over strength, median"),
        "governing": ("", "true for the weakest section"),
    },
    "throws": {
        "union": ("", "label of the union aimed at"),
        "isolation_class": ("", "1 clean, 2 isolable, 3 over several limbs"),
        "place": ("", "standing place of standing.json"),
        "stand_x": ("m", "first coordinate of the cloud's frame"),
        "stand_y": ("m", "second coordinate"),
        "stand_z": ("m", "height coordinate"),
        "method": ("", "hand or launcher"),
        "azimuth_deg": ("degree", "clockwise from the second axis (north)"),
        "elevation_deg": ("degree", "above level"),
        "speed": ("m/s", "at release"),
        "chance": ("", "of one throw giving this class or better, dispersion included"),
        "rest_distance": ("m", "where the line rests, out from the union"),
        "slides": ("", "true when it slides into the union by itself"),
        "captured": ("", "unions of the other limbs between the legs"),
        "workings": ("", "times the weight must be worked back"),
        "least_weight": ("kg", "that comes down by itself"),
    },
    "coverage": {
        **_RIG,
        "work_point": ("", "label"),
        "kind": ("", "kind of work"),
        "weight": ("", "metres of limb, or 1 a point"),
        "height": ("m", "above the stem's foot"),
        "radius": ("m", "from the stem's foot, level"),
        "angle_deg": ("degree", "of the straight rope from plumb"),
        "served": ("", "true when within the limits of the settings"),
        "fouled_by": ("", "limb the straight rope meets first; -1 none"),
    },
}

CODEBOOK: dict[tuple[str, str], tuple[str, str]] = {(table, column): entry for table, columns in _TABLES.items() for column, entry in columns.items()}
"""(table, column) to (unit, meaning), in column order."""

SCAN = "scan"
_LOADS = "geometry; kane_arwade_2022; kane_2020_stops; kane_2020_basal; basal_two; mu_bark"
_STRENGTH = "geometry; bark_effect; wood_handbook_read; wood_handbook; kane_2007; union_factor; handbook_cov"
_FLIGHT = "geometry; throw_speed; throw_spread; blunt_body_drag; standard_air; snag_law; line_friction"
_RANKED = "project_choice; common_practice"
_TABLE_SOURCE = {"anchors": SCAN, "unions": SCAN, "limbs": SCAN, "sections": SCAN, "throws": _FLIGHT, "coverage": "geometry"}
_COLUMN_SOURCE = {
    **dict.fromkeys(("rank", "score", "rank_stability", "usable", "verdict", "reasons"), _RANKED),
    **dict.fromkeys(("system", "hardware"), "common_practice"),
    **dict.fromkeys(("force_kn", "multiple_of_weight", "moment", "torsion", "axial", "shear"), _LOADS),
    **dict.fromkeys(("margin_median", "margin_p5", "governing_node", "governing_mode", "utilisation", "governing", "strength", "stress"), _STRENGTH),
    "deflection_m": "geometry; spatz_2013; wood_handbook",
    **dict.fromkeys(("isolation_class", "chance", "expected_throws", "azimuth_deg", "elevation_deg", "speed_ms", "method", "workings"), _FLIGHT),
    **dict.fromkeys(("stand_x", "stand_y", "stand_z"), "scan; conductor_10m; project_choice"),
    "captured": _FLIGHT,
    "fallback": "geometry; arrest_force; en1891_bounds",
    "least_weight": "line_friction; capstan; line_mass",
    **dict.fromkeys(("coverage_share", "served", "worst_angle_deg"), "geometry; redirect_angle; project_choice"),
    "swing_m": "geometry",
    **dict.fromkeys(("rope_m", "throwline_m"), "geometry; common_practice"),
    "flags": "scan; dahle_2022; slater_ennos_2015",
}


def source_of(table: str, column: str) -> str:
    """Where a column comes from: "scan" for what was measured, else keys of `treescan.sources`, parted by semicolons."""
    return _COLUMN_SOURCE.get(column, _TABLE_SOURCE[table])
