"""What a map shows of one tree: each layer as plain columns with geometries in coordinates of the cloud's
frame (metres)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.geometry import drawn_rings
from treescan.outputs.data.anchors_file import worst_work_point
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import in_a_cell
from treescan.outputs.shapes.cached import cached
from treescan.outputs.shapes.place_names import place_names, place_of
from treescan.outputs.shapes.rope_lines import rope_line
from treescan.outputs.text.say import say, text
from treescan.outputs.text.wording import file_name
from treescan.planning.tie_in_point import TieInPoint

LIMB_NODES = 400
"""Most vertices of one limb line."""


@dataclass(frozen=True)
class Layer:
    """One layer: name, geometry kind, columns by name (equal lengths), geometries, and what it shows."""

    name: str
    kind: str
    columns: dict[str, list[Any]]
    shapes: list[BaseGeometry]
    about: str


@cached
@for_programs
def layers(a: Assessment) -> tuple[Layer, ...]:
    """Every layer that has something in it."""
    made = [
        _stem(a),
        _neighbours(a),
        _limbs(a),
        _unions(a),
        _anchors(a),
        _standing(a),
        _throws(a),
        _ropes(a),
        _work(a),
        *_zones(a),
    ]
    return tuple(_of_tree(layer, tree_id(a)) for layer in made if layer.shapes)


def tree_id(a: Assessment) -> str:
    """What the tree is called: its number in the inventory, else the name of its scan without the ending."""
    return a.settings.job.tree or re.sub(r"(\.copc)?\.[A-Za-z0-9]{2,4}$", "", file_name(a.tree.source))


def _of_tree(layer: Layer, tree: str) -> Layer:
    """The layer with the tree's identifier in its first column."""
    return replace(layer, columns={"tree": [tree] * len(layer.shapes), **layer.columns})


def _rows(name: str, kind: str, rows: list[tuple[dict[str, Any], BaseGeometry]]) -> Layer:
    """A layer from (columns, geometry) pairs; NaN becomes an empty cell."""
    names = list(rows[0][0]) if rows else []
    columns = {n: [_cell(r[n]) for r, _ in rows] for n in names}
    return Layer(name, kind, columns, [g for _, g in rows], text(f"layer_{name}"))


def _cell(v: Any) -> Any:
    if isinstance(v, (str, bool)):
        return v
    if isinstance(v, np.bool_):
        return bool(v)
    if isinstance(v, (float, np.floating)):
        return round(float(v), 6) if math.isfinite(v) else None
    return int(v) if isinstance(v, np.integer) else v


def _point(a: Assessment, xyz: NDArray) -> Point:
    return Point(np.round(a.tree.frame.to_map(xyz), 4))


def _line(a: Assessment, xyz: NDArray) -> LineString:
    return LineString(np.round(a.tree.frame.to_map(xyz), 4))


def _ring(a: Assessment, xy: NDArray) -> Polygon:
    rings = [np.round(r + a.tree.frame.origin[:2], 4) for r in drawn_rings(xy)]
    return Polygon(rings[0], rings[1:]) if rings else Polygon()


def _stem(a: Assessment) -> Layer:
    s, f = a.tree.stem, a.tree.fitness
    first = next((p for p in a.points if p.usable), None)
    row = {
        "source": file_name(a.tree.source),
        **in_a_cell("species", (a.species,)),
        "height_m": s.height,
        "dbh_m": s.dbh,
        "dbh_sd_m": s.dbh_sd,
        "lean_deg": math.degrees(s.lean) if math.isfinite(s.lean) else float("nan"),
        "volume_m3": s.wood_volume,
        "scan": f.verdict,
        **in_a_cell("reasons", f.reasons),
        "first_union": first.label if first else "",
        "first_place": say(place_of(a.tree.graph, first)) if first else "",
        "ranked": sum(p.usable for p in a.points),
        "caution": CAUTIONS["planning_aid"],
    }
    return _rows("stem", "Point", [(row, _point(a, s.base))])


def _neighbours(a: Assessment) -> Layer:
    s = a.tree.beside.surroundings
    rows = [({"dbh_m": float(d)}, _point(a, foot)) for foot, d in zip(s.stems, s.stem_dbh, strict=True)]
    return _rows("neighbour_stems", "Point", rows)


def _limbs(a: Assessment) -> Layer:
    g, rows = a.tree.graph, []
    for k, own in enumerate(g.limbs.nodes):
        nodes = own[own > 0]
        if not len(nodes):
            continue
        line = np.concatenate([[g.parent[nodes[0]]], nodes])
        if len(line) > LIMB_NODES:
            line = line[np.unique(np.linspace(0, len(line) - 1, LIMB_NODES).astype(int))]
        length = g.length[nodes]
        row = {
            "limb": k,
            "parent_limb": int(g.limbs.parent[k]),
            "branch_order": int(g.limbs.order[k]),
            "base_diameter": 2 * float(g.segment_radius[nodes[0]]),
            "length": float(length.sum()),
            "seen_share": float((length * g.seen[nodes]).sum() / max(length.sum(), 1e-9)),
        }
        rows.append((row, _line(a, g.xyz[line])))
    return _rows("limbs", "LineString", rows)


def _no_line(a: Assessment, union: int) -> dict[str, str]:
    """Why no line was found over a union; empty where one was."""
    reason = a.throws.blocked_by[union] if union < len(a.throws.blocked_by) else None
    return in_a_cell("blocked_by", () if reason is None else (reason,))


def _unions(a: Assessment) -> Layer:
    u, names, rows = a.tree.graph.unions, place_names(a.tree.graph), []
    for k, label in enumerate(u.label):
        row = {
            "union": label,
            "place": say(names[k]),
            "height": float(u.height[k]),
            "parent_diameter": float(u.parent_diameter[k]),
            "smallest_diameter": float(u.arm_diameter[u.arms(k)].min()),
            "aspect_ratio": u.aspect_ratio(k),
            "flags": ", ".join(u.flags[k]),
            **_no_line(a, k),
        }
        rows.append((row, _point(a, u.place[k])))
    return _rows("unions", "Point", rows)


def _anchors(a: Assessment) -> Layer:
    place = a.tree.graph.unions.place
    return _rows("anchors", "Point", [(_anchor(a, p), _point(a, place[p.union])) for p in a.points])


def _anchor(a: Assessment, p: TieInPoint) -> dict[str, Any]:
    k, m = p.check, p.check.check.margin
    return {
        "rank": p.rank if p.usable else None,
        "union": p.label,
        "place": say(place_of(a.tree.graph, p)),
        "verdict": p.verdict,
        "system": p.system,
        "hardware": p.hardware,
        "height": float(a.tree.graph.unions.height[p.union]),
        "force_kn": float(np.linalg.norm(k.force)) / 1000,
        "worst_work_point": worst_work_point(a, k),
        "margin_p5": m.p5,
        "margin_median": m.median,
        "chance": p.throw.chance if p.throw else float("nan"),
        "isolation_class": p.throw.isolation_class if p.throw else None,
        "coverage_share": p.reach.share,
        "swing_m": p.reach.swing,
        "next_catch": k.catches[0].label if k.catches else "",
        "rope_m": p.rope.length,
        **in_a_cell("reasons", p.reasons),
        "caution": CAUTIONS["planning_aid"],
    }


def _standing(a: Assessment) -> Layer:
    chance = np.asarray(a.throws.chance, float)
    labels, rows = a.tree.graph.unions.label, []
    for s, xyz in enumerate(a.throws.stances.xyz):
        of = chance[:, s]
        best = [int(np.argmax(of[:, c])) if len(of) else -1 for c in range(3)]
        row: dict[str, Any] = {"place": f"S{s + 1:03d}"}
        for c in range(3):
            row[f"best_union_class{c + 1}"] = labels[best[c]] if best[c] >= 0 and of[best[c], c] > 0 else ""
            row[f"best_chance_class{c + 1}"] = float(of[best[c], c]) if best[c] >= 0 else 0.0
        rows.append(({**row, "caution": CAUTIONS["throwing"]}, _point(a, xyz)))
    return _rows("standing", "Point", rows)


def _throws(a: Assessment) -> Layer:
    labels, names, rows = a.tree.graph.unions.label, place_names(a.tree.graph), []
    for (k, c), t in sorted(a.throws.best.items()):
        row = {
            "union": labels[k],
            "place": say(names[k]),
            "isolation_class": c,
            "chance": t.chance,
            "method": t.method,
            "azimuth_deg": math.degrees(t.azimuth) % 360,
            "elevation_deg": math.degrees(t.elevation),
            "speed_ms": t.speed,
            "caution": CAUTIONS["throwing"],
        }
        if len(t.path) >= 2:
            rows.append((row, _line(a, t.path)))
    return _rows("throws", "LineString", rows)


def _ropes(a: Assessment) -> Layer:
    rows = [
        (
            {"rank": p.rank, "union": p.label, "place": say(place_of(a.tree.graph, p)), "system": p.system, "rope_m": p.rope.length},
            _line(a, rope_line(a, p)),
        )
        for p in a.points
        if p.usable
    ]
    return _rows("ropes", "LineString", rows)


def _work(a: Assessment) -> Layer:
    usable = [p for p in a.points if p.usable]
    rows = []
    for i, xyz in enumerate(a.work.xyz):
        by = [p for p in usable if i < len(p.reach.served) and p.reach.served[i]]
        row = {
            "work_point": a.work.label[i],
            "kind": a.work.kind[i],
            "weight": float(a.work.weight[i]),
            "first_served_by": by[0].label if by else "",
        }
        rows.append((row, _point(a, xyz)))
    return _rows("work", "Point", rows)


def _zones(a: Assessment) -> list[Layer]:
    zones = {"building": "building", "road": "road", "water": "water", "no_stand_area": "no standing"}
    rows = [
        ({"zone": zones[d.kind], "name": d.name}, _ring(a, d.ring))
        for d in a.site.areas()
        if len(d.ring) >= 3
    ]
    wires = [
        ({"name": c.name, "voltage": c.voltage, "caution": CAUTIONS["electricity"]}, _line(a, c.line))
        for c in a.site.conductors
        if len(c.line) >= 2
    ]
    named = [*(("anchor", *p) for p in a.site.anchors), *(("base", *p) for p in a.site.bases)]
    points = [({"kind": kind, "name": name}, _point(a, place)) for kind, name, place in named]
    return [
        _rows("zones", "Polygon", rows),
        _rows("conductors", "LineString", wires),
        _rows("drawn_points", "Point", points),
    ]
