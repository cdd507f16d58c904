"""city.json: what the city's map and tables take from the plan of one tree, so that nothing is opened again for
them."""

from __future__ import annotations

import math
from typing import Any

from shapely.geometry import mapping

from treescan.assess import Assessment
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import in_a_cell
from treescan.outputs.gis.gis_layers import Layer, layers

TAKEN = ("anchors", "standing", "conductors")
"""Layers of site.gpkg that the city shows too."""


@for_programs
def tree_record(a: Assessment) -> dict[str, Any]:
    """Figures of the tree, and rows of the layers that the city shows; places on the map in metres."""
    s, first = a.tree.stem, next((p for p in a.points if p.usable), None)
    best = a.climb.anchors.points
    thrown = [p for p in best if p.throw is not None]
    warned = (*a.tree.fitness.reasons, *a.warnings)
    figures: dict[str, Any] = {
        "base": [round(float(v), 3) for v in a.tree.frame.to_map(s.base)],
        "height_m": _figure(s.height),
        "dbh_m": _figure(s.dbh),
        "dbh_sd_m": _figure(s.dbh_sd),
        "scan": a.tree.fitness.verdict,
        **in_a_cell("scan_reasons", a.tree.fitness.reasons),
        "ranked": sum(p.usable for p in a.points),
        "first_union": first.label if first else "",
        "first_system": first.system if first else "",
        "first_height_m": _figure(float(a.tree.graph.unions.height[first.union])) if first else None,
        "first_margin_p5": _figure(first.check.check.margin.p5) if first else None,
        "climbs": len(best),
        "work_share": _figure(a.climb.anchors.share) if best else None,
        "rope_m": _figure(max((p.rope.length for p in best), default=float("nan"))),
        "throwline_m": _figure(max((p.rope.throwline for p in thrown), default=float("nan"))),
        "launcher": any(p.throw is not None and p.throw.method == "launcher" for p in best) if best else None,
        **in_a_cell("kit", a.climb.kit),
        **in_a_cell("warnings", warned),
    }
    shown = {layer.name: _rows(layer) for layer in layers(a) if layer.name in TAKEN}
    return {"figures": figures, "layers": shown}


def _figure(value: float) -> float | None:
    """A figure to three decimals; None = not known."""
    return round(float(value), 3) + 0.0 if math.isfinite(value) else None


def _rows(layer: Layer) -> list[dict[str, Any]]:
    """One row a shape, as GeoJSON has it, in the order of the layer."""
    return [
        {
            "geometry": mapping(shape),
            "properties": {name: values[i] for name, values in layer.columns.items()},
        }
        for i, shape in enumerate(layer.shapes)
    ]
