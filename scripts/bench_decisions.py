"""Would a plan made from the scan be the plan made from the true tree? Rig by rig, on the second bench.

    python scripts/bench_second.py --scans 60 --seed 7 --keep --out DIR
    python scripts/bench_decisions.py DIR --scans 60 --seed 7 [--only F00] [--species NAME] [--all-round]

Takes every kept scan that is assessable, plans from its tree.json and from the true tree of the same recipe, with the
same ground, neighbours, species and draws, and writes decisions.md and decisions.json into DIR. Two rigs are the same
where system, hardware and what is tied are, and their ropes bear on wood of the same direction (30 degrees) within
0.3 m, and on as many limbs below, each within 0.3 m of its twin: at one fork a plan may take either arm, a line to the
base may run down another limb, and neither is an error of the scan. The true tree has one radius a station (the circle
of the section's area) and no error; its bark counts as seen as far round as the scan saw it there, or all round with
--all-round (what the sides not seen cost comes on top then); which of its limbs are dead or hollow is not asked.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

sys.path.insert(0, str(Path(__file__).parent))

from second_bench.making import Made, make
from second_bench.recipes import bench

from treescan import plan, read_tree
from treescan.assess import Assessment
from treescan.loads.rope.contacts import middle
from treescan.outputs.data.anchors_file import anchors_out
from treescan.planning.candidates.contact import contact_point, hanging_node
from treescan.wood.files.read_tree import tree_in
from treescan.wood.graph import TracedTree, WoodGraph

SAME_PLACE, SAME_WAY = 0.3, np.cos(np.radians(30.0))
"""Rigs are the same whose ropes bear no farther apart [m] on limbs of about the same direction (cosine)."""
LEAST_RADIUS, STEP = 0.003, 0.12
"""Thinner wood of the true tree is left out, as a scan leaves it out; its stations are taken so far apart, or a radius [m]."""
REFUSED_BY = 1.1
"""A rig usable by the scan whose true margin is lower by more than this factor than what is asked is told."""
USABLE = ("candidate", "inspect first")


@dataclass(frozen=True)
class Decisions:
    """One scan's plan held against the true tree's.

    Attributes
    ----------
    name : str
    ratio : (k,) float      Middle margin by the scan over that by the truth, rigs told by both.
    inside : (k,) bool      The true middle margin lies in the scan's stated interval.
    same : (k,) bool        Same verdict of the wood.
    bold : tuple of str     Rigs usable by the scan that the true tree refuses by more than a tenth.
    usable : (2,) int       Rigs usable by the scan and by the truth.
    share : (2,) float      Share of the work that the best set serves.
    rigs : (2,) int         All rigs.
    """

    name: str
    ratio: np.ndarray
    inside: np.ndarray
    same: np.ndarray
    bold: tuple[str, ...]
    usable: tuple[int, int]
    share: tuple[float, float]
    rigs: tuple[int, int]


def true_tree(made: Made, origin: np.ndarray, scan: WoodGraph | None) -> dict[str, Any]:
    """The true tree as a tree.json by hand, in the frame of `origin` (3,). [m]

    Bark is seen as far round as at the nearest node of `scan` within `SAME_PLACE`; all round without one. Limbs hang on the station of their parent that they grow from; clumps on the first stem's foot.
    """
    nodes: list[dict[str, Any]] = []
    segments: list[dict[str, Any]] = []
    at: list[dict[int, int]] = []
    slope, truth = np.asarray(made.scene.slope, float), made.scene.truth
    for limb in made.scene.limbs:
        mine: dict[int, int] = {}
        at.append(mine)
        if limb.kind not in ("stem", "limb") or (limb.parent >= 0 and not at[limb.parent]):
            continue
        index = len(at) - 1
        out = np.flatnonzero(limb.xyz[:, 2] > limb.xyz[:, :2] @ slope)
        radius = limb.radius.copy()
        radius[out] = truth.radius[truth.limb == index]
        above = out[radius[out] >= LEAST_RADIUS]
        if len(above) < 2:
            continue
        before = -1 if not nodes else 0
        if limb.parent >= 0:
            host = np.array(sorted(at[limb.parent]))
            before = at[limb.parent][int(host[np.argmin(np.abs(host - limb.at))])]
            above = above[1:]
        forks = {m.at for m in made.scene.limbs if m.parent == index}
        last = -np.inf
        for i in above:
            way = i * limb.step
            if int(i) not in forks and i not in (above[0], above[-1]) and way - last < max(STEP, radius[i]):
                continue
            last = way
            mine[int(i)] = len(nodes)
            xyz = (limb.xyz[i] + made.origin - origin).tolist()
            nodes.append({"id": len(nodes), "xyz": xyz, "radius": float(radius[i]), "radius_sd": 0.0, "seen": True})
            if before >= 0:
                segments.append({"parent": before, "child": mine[int(i)], "radius": float(radius[i])})
            before = mine[int(i)]
    for node, arc in zip(nodes, _seen_round(np.array([n["xyz"] for n in nodes]), scan), strict=True):
        node["arc_deg"] = float(arc)
    return {
        "format": "treescan-tree",
        "version": 1,
        "units": "m",
        "origin": origin.tolist(),
        "nodes": nodes,
        "segments": segments,
    }


def _seen_round(places: np.ndarray, scan: WoodGraph | None) -> np.ndarray:
    """Bark seen at places (n, 3), as in `true_tree`. [deg]"""
    if scan is None:
        return np.full(len(places), 360.0)
    apart, nearest = cKDTree(scan.xyz).query(places)
    return np.where(apart <= SAME_PLACE, np.degrees(scan.arc[nearest]), 0.0)


def planned(tree: TracedTree, species: str | None) -> Assessment:
    """The plan for the whole crown."""
    return plan(tree, species=species, seed=1)


def compared(name: str, scan: Assessment, truth: Assessment) -> Decisions:
    """Two plans rig by rig."""
    a, b = (_told(p) for p in (scan, truth))
    pairs = same_rigs(a["anchors"], b["anchors"])
    told = [(x, y) for x, y in pairs if x["capacity"]["margin_median"] and y["capacity"]["margin_median"]]
    margin = np.array([[q["capacity"]["margin_median"] for q in pair] for pair in told]).reshape(-1, 2)
    low, high = (np.array([x["capacity"][k] for x, _ in told], float) for k in ("margin_p5", "margin_p95"))
    bold = tuple(
        f"{x['union']} {x['system']} {x['hardware']} ({x['capacity']['margin_p5']:.2f}, truly {y['capacity']['margin_p5']:.2f})"
        for x, y in told
        if x["verdict"] in USABLE and y["verdict"] not in USABLE and y["capacity"]["margin_p5"] * REFUSED_BY < 1.0
    )
    return Decisions(
        name,
        margin[:, 0] / margin[:, 1],
        (margin[:, 1] >= low) & (margin[:, 1] <= high),
        np.array([x["capacity"]["verdict"] == y["capacity"]["verdict"] for x, y in pairs], bool),
        bold,
        (sum(x["usable"] for x in a["anchors"]), sum(x["usable"] for x in b["anchors"])),
        (float(a["climb"]["set"]["share"]), float(b["climb"]["set"]["share"])),
        (len(a["anchors"]), len(b["anchors"])),
    )


def _told(plan: Assessment) -> dict[str, Any]:
    """A plan's anchors file, every rig with where its rope bears and which way the limb runs there."""
    out, graph = anchors_out(plan), plan.tree.graph
    for told, p in zip(out["anchors"], plan.points, strict=True):
        told["bears"] = contact_point(graph, p.check.configuration).tolist()
        told["below"] = [middle(graph, int(n)).tolist() for n in p.check.configuration.via]
        told["way"] = graph.direction[hanging_node(p.check.configuration)].tolist()
    return out


def same_rigs(a: list[dict[str, Any]], b: list[dict[str, Any]]) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Rigs of both plans that are the same, the nearest first, each once."""
    close = sorted(
        (float(np.linalg.norm(np.subtract(x["bears"], y["bears"]))), i, j)
        for i, x in enumerate(a)
        for j, y in enumerate(b)
        if all(x.get(k) == y.get(k) for k in ("system", "hardware", "tied_to"))
        and np.dot(x["way"], y["way"]) >= SAME_WAY
        and len(x["below"]) == len(y["below"])
        and all(np.linalg.norm(np.subtract(p, q)) <= SAME_PLACE for p, q in zip(x["below"], y["below"], strict=True))
    )
    left, right, out = set(), set(), []
    for apart, i, j in close:
        if apart <= SAME_PLACE and i not in left and j not in right:
            left.add(i)
            right.add(j)
            out.append((a[i], b[j]))
    return out


def table(found: list[Decisions]) -> str:
    """Rows of every scan and of all together."""
    head = (
        "| scan | rigs (scan, truth, both) | margin ratio, median | log sd | true margin inside | same verdict "
        "| usable (scan, truth) | refused by the truth by > 10 % | best set serves (scan, truth) % |\n"
        "|---|---|---|---|---|---|---|---|---|\n"
    )
    rows = [_row(d.name, [d]) for d in found]
    return head + "\n".join([*rows, _row("all", found)]) + "\n"


def _row(name: str, found: list[Decisions]) -> str:
    ratio, inside, same = (np.concatenate([getattr(d, k) for d in found]) for k in ("ratio", "inside", "same"))
    rigs, usable = (np.sum([getattr(d, k) for d in found], axis=0) for k in ("rigs", "usable"))
    share = 100 * np.mean([d.share for d in found], axis=0)
    bold = sum(len(d.bold) for d in found)
    if len(ratio) == 0:
        return f"| {name} | {rigs[0]}, {rigs[1]}, {len(same)} | | | | | {usable[0]}, {usable[1]} | {bold} | {share[0]:.0f}, {share[1]:.0f} |"
    return (
        f"| {name} | {rigs[0]}, {rigs[1]}, {len(same)} | {np.median(ratio):.2f} | {np.std(np.log(ratio)):.2f} "
        f"| {100 * inside.mean():.0f} % | {100 * same.mean():.0f} % | {usable[0]}, {usable[1]} | {bold} "
        f"| {share[0]:.0f}, {share[1]:.0f} |"
    )


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--scans", type=int, default=60)
    ask.add_argument("--seed", type=int, required=True)
    ask.add_argument("--only", default="")
    ask.add_argument("--species", default="pedunculate oak")
    ask.add_argument("--all-round", action="store_true", help="the true tree's bark counts as seen all round")
    asked = ask.parse_args()
    found: list[Decisions] = []
    for recipe in bench(asked.scans, asked.seed):
        file = asked.folder / recipe.name.split()[0] / "tree.json"
        if asked.only not in recipe.name or not file.exists():
            continue
        traced = read_tree(file)
        if not traced.fitness.assessable:
            continue
        truth = tree_in(true_tree(make(recipe), traced.frame.origin, None if asked.all_round else traced.graph), traced.beside, "the true tree")
        found.append(compared(recipe.name, *(planned(t, asked.species) for t in (traced, truth))))
        print(_row(found[-1].name, found[-1:]), *found[-1].bold, sep="\n", flush=True)
        (asked.folder / "decisions.md").write_text(table(found), encoding="utf-8")
        plain = [{k: v.tolist() if isinstance(v, np.ndarray) else v for k, v in vars(d).items()} for d in found]
        (asked.folder / "decisions.json").write_text(json.dumps(plain), encoding="utf-8")


if __name__ == "__main__":
    main()
