"""Which work was asked for: drawn in a GIS, listed in a table, or named in a word."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput
from treescan.faces.user_files.drawn import read_drawn_work
from treescan.faces.user_files.faults import raise_together
from treescan.faces.user_files.table_rows import HIGHEST, read_rows, real, short
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Work
from treescan.planning.work.work_points import (
    deadwood_suspects,
    default_work,
    joined,
    sample_work,
    work_at_points,
    work_in_area,
    work_on_limbs,
)
from treescan.reason import Reason
from treescan.trees.beside import Terrain
from treescan.wood.graph import TracedTree, WoodGraph

WORDS = "crown, deadwood, limb:12, limb:U07, sample:300 or sample:300:5"
MOST_SAMPLES, MOST_CLASSES = 20_000, 100
"""Random work points, and height classes, that are taken (project choice: time and memory grow with them)."""
FARTHEST = 5_000.0
"""Work lies within this of the cloud's origin. [m]"""
MOST_WEIGHT = 1e6
"""Weights count against each other; a larger one says nothing more."""
COLUMNS = ("name", "kind", "x", "y", "z", "height_m", "limb", "union", "weight")


def read_work(
    asked: Sequence[str | Path] | str | Path, tree: TracedTree, settings: PlanningSettings, seed: int
) -> tuple[Work, list[Reason]]:
    """All the work asked for, joined, and how each file was read.

    Parameters
    ----------
    asked : str or sequence     Each a GeoJSON file, a CSV file, or a word: "crown" (the whole), "deadwood"
                                (limbs the scan suspects dead), "limb:12" or "limb:U07" (a limb by its number
                                in tree.json or by the union it leaves at), "sample:300" (that many random
                                points on the wood) or "sample:300:5" (shared evenly by five height classes).
    seed : int                  Of random sample points.
    """
    parts: list[Work] = []
    notes: list[Reason] = []
    for word in map(str, [asked] if isinstance(asked, (str, Path)) else asked):
        kind, _, rest = word.partition(":")
        if word == "crown":
            parts.append(default_work(tree.graph, tree.beside, settings))
        elif word == "deadwood":
            found = deadwood_suspects(tree.graph, settings)
            notes.append(Reason("deadwood_work", n=len(found)))
            parts.append(found)
        elif kind == "limb" and rest:
            parts.append(work_on_limbs(tree.graph, [limb_named(tree.graph, rest)], settings))
        elif kind == "sample" and rest:
            parts.append(_sample(tree.graph, rest, seed))
        elif Path(word).suffix.lower() == ".csv":
            parts.append(_table(Path(word), tree, settings))
        else:
            work, how = _from_map(Path(word), tree, settings)
            parts.append(work)
            notes += how
    work = joined(*parts)
    if len(work) == 0:
        raise BadInput(
            "the work asked for holds no point", remedy=f"give a GeoJSON or CSV file, or one of: {WORDS}"
        )
    return work, notes


def limb_named(graph: WoodGraph, name: str) -> int:
    """A limb by its number in tree.json, or by the label of the union it leaves at (the thickest that
    does)."""
    if name in graph.unions.label:
        union = graph.unions.label.index(name)
        return int(graph.unions.arm_limb[graph.unions.laterals(union)[0]])
    if not (name.isascii() and name.isdecimal()) or not 0 <= int(name[:18]) < len(graph.limbs):
        raise BadInput(
            f"{short(name)} is no limb and no union of this tree",
            remedy=f"limbs are numbered 0 to {len(graph.limbs) - 1}, unions like U07",
        )
    return int(name)


def _sample(graph: WoodGraph, text: str, seed: int) -> Work:
    count, colon, classes = text.partition(":")
    numbers = (count, classes) if colon else (count,)
    if any(not (n.isascii() and n.isdecimal()) or int(n[:18]) < 1 for n in numbers):
        raise BadInput(
            f"--work sample:{text} is not a number of points",
            remedy="for example sample:300, or sample:300:5 for five height classes",
        )
    if int(count[:18]) > MOST_SAMPLES or int(classes[:18] or 1) > MOST_CLASSES:
        raise BadInput(
            f"--work sample:{text} is more than {MOST_SAMPLES} points or {MOST_CLASSES} height classes",
            remedy="a few hundred points show a crown, for example sample:300",
        )
    return sample_work(graph, int(count), seed, int(classes or 1))


def _from_map(path: Path, tree: TracedTree, settings: PlanningSettings) -> tuple[Work, tuple[Reason, ...]]:
    if not path.exists():
        raise BadInput(f"--work {path} is neither a file nor a word that is known", remedy=f"words: {WORDS}")
    points, areas, how = read_drawn_work(path, tree.frame, tree.beside.terrain)
    parts = [work_in_area(tree.graph, ring, settings, kind=kind) for ring, _, kind in areas]
    if points:
        parts.append(
            work_at_points(tree.graph, [p[0] for p in points], [p[1] for p in points], [p[2] for p in points])
        )
    return joined(*parts), how


def _table(path: Path, tree: TracedTree, settings: PlanningSettings) -> Work:
    """Work from a CSV table: each row a place (x, y and z or height_m, in the cloud's own coordinates), or a
    limb or union."""
    parts, faults = [], []
    for number, row in enumerate(read_rows(path, COLUMNS, "work"), start=1):
        try:
            parts.append(_of_row(row, path, number, tree, settings))
        except BadInput as err:
            faults.append(err)
    raise_together(faults, str(path))
    return joined(*parts)


def _of_row(
    row: dict[str, str], path: Path, number: int, tree: TracedTree, settings: PlanningSettings
) -> Work:
    """Work of one row of a table."""
    kind = str(row.get("kind", "prune"))
    if "limb" in row or "union" in row:
        try:
            limb = limb_named(tree.graph, str(row.get("limb", row.get("union"))))
        except BadInput as err:
            raise BadInput(f"row {number}: {err.what}", file=str(path), remedy=err.remedy) from err
        return work_on_limbs(tree.graph, [limb], settings, kind=kind)
    if "x" not in row or "y" not in row:
        raise BadInput(f"row {number} has neither x and y nor a limb or union", file=str(path))
    xyz = _local(row, path, number, tree.frame, tree.beside.terrain)
    if not np.all(np.abs(xyz[:, :2]) <= FARTHEST):
        raise BadInput(
            f"row {number} lies more than {FARTHEST:.0f} m from the cloud",
            file=str(path),
            remedy="give places in the cloud's own coordinates",
        )
    weight = real(row, "weight", path, number, low=0.0, high=MOST_WEIGHT) if "weight" in row else 1.0
    if weight == 0:
        raise BadInput(
            f"row {number}: weight is 0", file=str(path), remedy="give weights above 0, or leave the row out"
        )
    return work_at_points(tree.graph, xyz, [str(row.get("name", f"W{number:02d}"))], [kind], [weight])


def _local(row: dict[str, str], path: Path, number: int, frame: Frame, terrain: Terrain) -> np.ndarray:
    """One place of a table in local metres, (1, 3); z is NaN where the row gives no height."""
    xy = frame.own_to_local_xy(np.array([[real(row, "x", path, number), real(row, "y", path, number)]]))
    z = float("nan")
    if "z" in row:
        z = real(row, "z", path, number) * frame.vertical_unit_m - float(frame.origin[2])
    elif "height_m" in row:
        ground = float(terrain.height_at(xy)[0])
        z = (ground if np.isfinite(ground) else float(np.nanmedian(terrain.height))) + real(
            row, "height_m", path, number, low=-HIGHEST, high=HIGHEST
        )
    return np.array([[*xy[0], z]])
