"""The unions of a tree file: which there are, and what they state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from treescan.arrays import Floats
from treescan.errors import BadInput
from treescan.wood.files.plain_values import number
from treescan.wood.graph import Unions, WoodGraph


def unions_in(
    given: list[dict[str, Any]], derived: Unions, new: dict[Any, int], xyz: Floats, file: str
) -> Unions:
    """The file's own unions: which there are, their labels, flags and sizes; what it does not state is taken from the graph."""
    labels = [u["id"] for u in given]
    if len(set(labels)) != len(labels):
        raise BadInput("has two unions with the same id", file=file)
    row = {int(node): k for k, node in enumerate(derived.node)}
    arms: dict[str, list[Any]] = {
        name: [] for name in ("node", "limb", "diameter", "diameter_sd", "attachment", "slope", "continues")
    }
    start, nodes, heights, pd, pd_sd, flags, kept, places = [0], [], [], [], [], [], [], []
    for u in given:
        if u["node"] not in new:
            raise BadInput(f"union {u['id']} stands on node {u['node']!r}, which is not there", file=file)
        node = new[u["node"]]
        k = row.get(node)
        listed = u.get("arms")
        if listed is not None:
            table = _listed_arms(listed, new)
        elif k is not None:
            table = _stated_arms(u, derived, k)
        else:
            continue
        for a in table:
            for name, value in zip(arms, a, strict=True):
                arms[name].append(value)
        start.append(start[-1] + len(table))
        kept.append(u["id"])
        nodes.append(node)
        places.append(u.get("xyz", xyz[node]))
        heights.append(
            u["height"] if "height" in u else derived.height[k] if k is not None else xyz[node, 2] - xyz[0, 2]
        )
        pd.append(u["parent_diameter"] if "parent_diameter" in u else derived.parent_diameter[k])
        pd_sd.append(
            number(u["parent_diameter_sd"])
            if "parent_diameter_sd" in u
            else derived.parent_diameter_sd[k]
            if k is not None
            else np.nan
        )
        flags.append(tuple(u.get("flags", derived.flags[k] if k is not None else ())))
    return Unions(
        tuple(kept),
        np.array(nodes, np.int32),
        np.array(places, float).reshape(-1, 3),
        np.array(heights, float),
        np.array(pd, float),
        np.array(pd_sd, float),
        np.array(start, np.int32),
        np.array(arms["node"], np.int32),
        np.array(arms["limb"], np.int32),
        np.array(arms["diameter"], float),
        np.array(arms["diameter_sd"], float),
        np.array(arms["attachment"], float),
        np.array(arms["slope"], float),
        np.array(arms["continues"], bool),
        tuple(flags),
    )


def with_stated_crotches(graph: WoodGraph, given: Sequence[dict[str, Any]]) -> WoodGraph:
    """The graph with the crotches that the file states put over its own; null: no rope lies there."""
    crotch, row = graph.unions.crotch.copy(), {label: k for k, label in enumerate(graph.unions.label)}
    for u in given:
        if "crotch" in u and u["id"] in row:
            crotch[row[u["id"]]] = np.nan if u["crotch"] is None else u["crotch"]
    return replace(graph, unions=replace(graph.unions, crotch=crotch))


def _listed_arms(listed: list[dict[str, Any]], new: dict[Any, int]) -> list[tuple]:
    """Arms of one union as the file lists them."""
    return [
        (
            new[a["node"]],
            a["limb"],
            a["diameter"],
            number(a.get("diameter_sd")),
            np.radians(a["attachment_deg"]),
            np.radians(a["slope_deg"]),
            a["continues"],
        )
        for a in listed
    ]


def _stated_arms(u: dict[str, Any], derived: Unions, k: int) -> list[tuple]:
    """Arms of one union from the graph, with the diameters and angles the file states put over them."""
    rows = np.arange(len(derived.arm_node))[derived.arms(k)]
    diameters = list(derived.arm_diameter[rows])
    if len(u.get("child_diameters", ())) == len(rows):
        diameters = list(u["child_diameters"])
    attachment, slope = list(derived.arm_attachment[rows]), list(derived.arm_slope[rows])
    for key, target in (("attachment_deg", attachment), ("limb_slope_deg", slope)):
        stated = u.get(key)
        if isinstance(stated, list) and len(stated) == len(rows):
            target[:] = np.radians(stated)
        elif isinstance(stated, (int, float)):
            target[-1] = np.radians(stated)
    return [
        (
            derived.arm_node[r],
            derived.arm_limb[r],
            d,
            derived.arm_diameter_sd[r],
            a,
            s,
            derived.arm_continues[r],
        )
        for r, d, a, s in zip(rows, diameters, attachment, slope, strict=True)
    ]
