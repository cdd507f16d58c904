"""From a tree.json, our own, a researcher's or a hand-made one, to a traced tree."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np

from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput
from treescan.reason import Reason, from_plain
from treescan.trees.beside import Beside, Terrain
from treescan.trees.scan_points import ScanPoints
from treescan.wood.files.beside_files import beside_in
from treescan.wood.files.plain_values import degrees, number, read_json
from treescan.wood.files.read_nodes import FileNodes, as_stated, limbs_in, nodes_in
from treescan.wood.files.read_unions import unions_in, with_stated_crotches
from treescan.wood.files.tree_shape import check_tree
from treescan.wood.files.write_tree import FORMAT, FRAME_KEYS, VERSION
from treescan.wood.graph import ASSESSABLE, ScanFitness, StemFigures, TracedTree, WoodGraph
from treescan.wood.quality.stem_figures import stem_figures
from treescan.wood.topology.crotch import with_crotches
from treescan.wood.topology.limbs import label_limbs
from treescan.wood.topology.unions import find_unions

ACROSS = 0.2
"""Sine of the angle between an oval's longest width and its limb below which the width lies along the limb."""


def read_tree(path: str | os.PathLike[str]) -> TracedTree:
    """Read a tree.json: our own, a researcher's or a hand-made one.

    Without `beside` the tree stands alone and leafless on level ground at the height of node 0. Missing limbs and unions are derived.
    Raises BadInput, naming the file and the fault.
    """
    path = Path(path)
    data = read_json(path)
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise BadInput(
            f"is not a {FORMAT} file (its 'format' key says so)",
            file=str(path),
            remedy="give a point cloud or a tree.json",
        )
    if data.get("version") != VERSION:
        raise BadInput(
            f"has version {data.get('version')!r}, this treescan reads version {VERSION}", file=str(path)
        )
    if data.get("units", "m") != "m":
        raise BadInput(
            f"is in {data['units']!r}", file=str(path), remedy="write lengths in metres and units 'm'"
        )
    check_tree(data, str(path))
    beside, points = beside_in(data, path)
    return tree_in(data, beside, str(path), points)


def tree_in(
    data: dict[str, Any], beside: Beside | None, file: str, points: ScanPoints | None = None
) -> TracedTree:
    """A `TracedTree` from the content of a tree.json and what stands beside it (None: level ground, alone, leafless)."""
    try:
        return _tree_in(data, beside, file, points)
    except BadInput:
        raise
    except (KeyError, TypeError, ValueError, IndexError, OverflowError) as err:
        what = f"key {err} is missing" if isinstance(err, KeyError) else f"a value does not fit ({err})"
        raise BadInput(what, file=file, remedy="see 'tree.json' in README for the keys it must have") from err


def _tree_in(data: dict[str, Any], beside: Beside | None, file: str, points: ScanPoints | None) -> TracedTree:
    nodes = nodes_in(data, file)
    if beside is None:
        beside = Beside(Terrain.flat(float(nodes.xyz[0, 2]), nodes.xyz[0, :2]))
    graph, renumbered = _graph_in(data, nodes, beside.terrain, file)
    own = data.get("frame") or {}
    origin = np.array(data.get("origin", (0.0, 0.0, 0.0)), float)
    frame = Frame(origin, data.get("crs"), **{k: own[k] for k in FRAME_KEYS if k in own})
    quality = data.get("quality") or {}
    stem = _stem_in(data.get("stem"), graph, beside.terrain)
    notes = (*renumbered, *_reasons_in(quality.get("notes", ())))
    return TracedTree(
        graph, beside, frame, stem, _fitness_in(quality), data.get("source", file), notes, points
    )


def _graph_in(
    data: dict[str, Any], nodes: FileNodes, terrain: Terrain, file: str
) -> tuple[WoodGraph, tuple[Reason, ...]]:
    """The graph; limbs and unions that the file does not state are derived. And which limbs got other numbers than the
    file states."""
    renumbered: tuple[Reason, ...] = ()
    if "limbs" in data and len(nodes) > 1:
        limb, limbs = limbs_in(data, nodes.parent, nodes.segment_limb, file)
    else:
        limb, limbs = label_limbs(nodes.xyz, nodes.segment_radius, nodes.parent)
        limb, limbs, renumbered = as_stated(limb, limbs, nodes.segment_limb)
    unions = find_unions(
        nodes.xyz,
        nodes.radius,
        nodes.radius_sd,
        nodes.seen,
        nodes.parent,
        nodes.segment_radius,
        limb,
        limbs,
        terrain,
    )
    if "unions" in data:
        unions = unions_in(data["unions"], unions, nodes.row, nodes.xyz, file)
    bare = WoodGraph(
        nodes.xyz,
        nodes.radius,
        nodes.radius_sd,
        nodes.arc,
        nodes.seen,
        nodes.parent,
        nodes.segment_radius,
        limb,
        limbs,
        unions,
        nodes.oval,
        nodes.oval_dir,
    )
    graph = with_stated_crotches(with_crotches(bare), data.get("unions", ()))
    along = np.linalg.norm(np.cross(graph.oval_dir[1:], graph.direction[1:]), axis=1) < ACROSS
    if np.any(wrong := along & (nodes.oval[1:] > 1)):
        fault = f"the oval_dir of node {nodes.ids[1 + int(np.argmax(wrong))]} lies along the limb"
        raise BadInput(fault, file=file, remedy="give it across the limb")
    return graph, renumbered


def _fitness_in(quality: dict[str, Any]) -> ScanFitness:
    """What the file says the scan is fit for."""
    limbs = tuple(
        {**b, "rescan": _reason_in(b["rescan"])} if "rescan" in b else b for b in quality.get("limbs", ())
    )
    reasons = _reasons_in(quality.get("reasons", ()))
    return ScanFitness(quality.get("verdict", ASSESSABLE), reasons, tuple(quality.get("bands", ())), limbs)


def _reasons_in(found: Any) -> tuple[Reason, ...]:
    return tuple(r for r in (_reason_in(x) for x in found) if r is not None)


def _reason_in(found: Any) -> Reason | None:
    """A reason as it was written; a plain sentence, as older files have it, as somebody's own words; None for an empty one."""
    if isinstance(found, str):
        return Reason("own_words", words=found) if found else None
    return from_plain(found) if found is not None else None


def _stem_in(stem: dict[str, Any] | None, graph: WoodGraph, terrain: Terrain) -> StemFigures:
    """What the file states of the stem; the rest is derived."""
    derived = stem_figures(graph, terrain)
    if not stem:
        return derived

    def stated(key: str, fallback: float) -> float:
        return fallback if key not in stem else number(stem[key])

    lean = np.radians(stated("lean_deg", float(degrees(derived.lean))))
    return StemFigures(
        np.array(stem.get("base_xyz", derived.base), float),
        stated("dbh", derived.dbh),
        stated("dbh_sd", derived.dbh_sd if "dbh" not in stem else float("nan")),
        stated("height", derived.height),
        stated("wood_volume", derived.wood_volume),
        float(lean),
        () if "dbh" in stem and stem["dbh"] is None else derived.stems,
    )
