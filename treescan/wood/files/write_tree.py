"""From a traced tree to tree.json and the files beside it."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np

from treescan.atomic import write_text
from treescan.cautions import all_cautions
from treescan.reason import as_plain
from treescan.wood.files.beside_files import is_ours, names_beside, standby_names, write_beside
from treescan.wood.files.plain_values import degrees, or_null
from treescan.wood.graph import ScanFitness, StemFigures, TracedTree, Unions, WoodGraph

FORMAT, VERSION = "treescan-tree", 1
FRAME_KEYS = ("unit_m", "vertical_unit_m", "up", "file_crs", "in_degrees")


def write_tree(traced: TracedTree, path: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write tree.json and the files beside it; return all their paths, tree.json last.

    Whatever ends the run, tree.json names files of its own tree: over an earlier tree they are first written
    under other names, and take their own once tree.json no longer names those of that tree.
    """
    path = Path(path)
    names, standby = names_beside(path), standby_names(path)
    content = tree_out(traced)
    for called in (standby, names) if path.exists() else (names,):
        written = write_beside(traced.beside, traced.points, path.parent, called)
        write_text(path, json.dumps({**content, "beside": written}))
    for name in standby.values():
        (path.parent / name).unlink(missing_ok=True)
    for name in {*names.values()} - {*written.values()}:  # of an earlier tree
        if is_ours(path.parent / name):
            (path.parent / name).unlink()
    return (*tuple(path.parent / name for name in written.values()), path)


def tree_out(traced: TracedTree) -> dict[str, Any]:
    """The content of tree.json (lengths in metres, angles in degrees), without the files beside it."""
    g = traced.graph
    return {
        "format": FORMAT,
        "version": VERSION,
        "units": "m",
        "crs": traced.frame.crs,
        "origin": traced.frame.origin.tolist(),
        "cautions": list(all_cautions()),
        "source": traced.source,
        "frame": {name: getattr(traced.frame, name) for name in FRAME_KEYS},
        "nodes": _nodes_out(g),
        "segments": [
            {"parent": p, "child": c, "radius": r, "limb": k}
            for c, (p, r, k) in enumerate(
                zip(g.parent.tolist(), g.segment_radius.tolist(), g.limb.tolist(), strict=True)
            )
            if c > 0
        ],
        "limbs": [
            {"id": k, "parent_limb": None if p < 0 else p, "order": o, "nodes": nodes.tolist()}
            for k, (p, o, nodes) in enumerate(
                zip(g.limbs.parent.tolist(), g.limbs.order.tolist(), g.limbs.nodes, strict=True)
            )
        ],
        "unions": [
            {**union_out(g.unions, k), "crotch": None if np.isnan(place[0]) else place.tolist()}
            for k, place in enumerate(g.unions.crotch)
        ],
        "stem": _stem_out(traced.stem),
        "quality": {**_fitness_out(traced.fitness), "notes": [as_plain(note) for note in traced.notes]},
    }


def _nodes_out(g: WoodGraph) -> list[dict[str, Any]]:
    columns = (g.xyz, g.radius, g.radius_sd, degrees(g.arc), g.seen, g.oval, g.oval_dir)
    return [
        {
            "id": i,
            "xyz": p,
            "radius": r,
            "radius_sd": or_null(sd),
            "arc_deg": or_null(a),
            "seen": s,
            **oval_out(q, d),
        }
        for i, (p, r, sd, a, s, q, d) in enumerate(zip(*(c.tolist() for c in columns), strict=True))
    ]


def oval_out(ratio: float, along: list[float]) -> dict[str, Any]:
    """Keys of an oval section; none of a round one."""
    return {"oval": ratio, "oval_dir": along} if ratio != 1.0 else {}


def _stem_out(stem: StemFigures) -> dict[str, Any]:
    return {
        "base_xyz": stem.base.tolist(),
        "dbh": or_null(stem.dbh),
        "dbh_sd": or_null(stem.dbh_sd),
        "height": or_null(stem.height),
        "wood_volume": or_null(stem.wood_volume),
        "lean_deg": or_null(float(degrees(stem.lean))),
        "stems": [
            {
                "limb": t.limb,
                "xyz": t.xyz.tolist(),
                "measured_at": t.height,
                "dbh": or_null(t.dbh),
                "dbh_sd": or_null(t.dbh_sd),
            }
            for t in stem.stems
        ],
    }


def _fitness_out(fitness: ScanFitness) -> dict[str, Any]:
    """Verdict, reasons as code and values, height bands and limbs."""
    return {
        "verdict": fitness.verdict,
        "reasons": [as_plain(reason) for reason in fitness.reasons],
        "bands": [dict(b) for b in fitness.bands],
        "limbs": [
            {**b, "rescan": as_plain(b["rescan"])} if "rescan" in b else dict(b) for b in fitness.limbs
        ],
    }


def union_out(u: Unions, k: int) -> dict[str, Any]:
    """One union with its arms."""
    rows = u.arms(k)
    return {
        "id": u.label[k],
        "node": int(u.node[k]),
        "xyz": u.place[k].tolist(),
        "height": float(u.height[k]),
        "parent_diameter": float(u.parent_diameter[k]),
        "parent_diameter_sd": or_null(float(u.parent_diameter_sd[k])),
        "child_diameters": u.arm_diameter[rows].tolist(),
        "aspect_ratio": u.aspect_ratio(k),
        "attachment_deg": degrees(u.arm_attachment[rows]).tolist(),
        "limb_slope_deg": degrees(u.arm_slope[rows]).tolist(),
        "flags": list(u.flags[k]),
        "arms": [
            {
                "node": int(u.arm_node[r]),
                "limb": int(u.arm_limb[r]),
                "diameter": float(u.arm_diameter[r]),
                "diameter_sd": or_null(float(u.arm_diameter_sd[r])),
                "attachment_deg": float(degrees(u.arm_attachment[r])),
                "slope_deg": float(degrees(u.arm_slope[r])),
                "continues": bool(u.arm_continues[r]),
            }
            for r in range(rows.start, rows.stop)
        ],
    }
