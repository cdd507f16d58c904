"""Name, unit and meaning of every column of the tidy tables; the tables are made from this list, so they cannot disagree."""

from __future__ import annotations

_RIG = {
    "rank": ("", "order in which to inspect; 0 = not ranked"),
    "union": ("", "label of the union"),
    "system": ("", "rope system"),
    "hardware": ("", "what holds the rope at the union"),
}

_TABLES: dict[str, dict[str, tuple[str, str]]] = {
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

CODEBOOK: dict[tuple[str, str], tuple[str, str]] = {
    (table, column): entry for table, columns in _TABLES.items() for column, entry in columns.items()
}
"""(table, column) to (unit, meaning), in column order."""
