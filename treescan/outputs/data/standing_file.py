"""standing.json: where one can stand on this ground, and the chance of setting a line over each union from
there."""

from __future__ import annotations

from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.cautions import all_cautions
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import with_data
from treescan.outputs.shapes.place_names import place_names
from treescan.outputs.strict_json import place
from treescan.outputs.text.say import text, word
from treescan.throw.throw_path import ISOLATION


@for_programs
def standing_out(a: Assessment) -> dict[str, Any]:
    """The content of standing.json; a union missing from a place's `chances` has none from there in any
    class."""
    stances, labels = a.throws.stances, a.tree.graph.unions.label
    chance = np.asarray(a.throws.chance, float)
    return {
        "format": "treescan-standing",
        "version": 1,
        "units": "m",
        "crs": a.tree.frame.crs,
        "cautions": list(all_cautions()),
        "classes": {str(k): word(name) for k, name in ISOLATION.items()},
        "meaning": text("standing_meaning"),
        "refused": [
            {**with_data("reason", reason), "places": int(count)} for reason, count in stances.refused
        ],
        "unions": [
            {"union": label, **with_data("place", name), **_blocked(a, k)}
            for k, (label, name) in enumerate(zip(labels, place_names(a.tree.graph), strict=True))
        ],
        "places": [
            {
                "id": f"S{s + 1:03d}",
                "xyz": place(a.tree.frame.to_map(xyz)),
                "chances": _chances(chance[:, s], labels),
            }
            for s, xyz in enumerate(stances.xyz)
        ],
    }


def _blocked(a: Assessment, union: int) -> dict[str, Any]:
    """What stops a line; the sentence is empty where one was found."""
    reason = a.throws.blocked_by[union] if union < len(a.throws.blocked_by) else None
    return (
        with_data("blocked_by", reason) if reason is not None else {"blocked_by": "", "blocked_by_data": None}
    )


def _chances(chance: np.ndarray, labels: tuple[str, ...]) -> dict[str, list[float]]:
    """Chances (m, 3) from one place, unions without any left out."""
    rows = np.flatnonzero((chance > 0).any(axis=1)) if chance.size else ()
    return {labels[k]: [round(float(c), 4) for c in chance[k]] for k in rows}
