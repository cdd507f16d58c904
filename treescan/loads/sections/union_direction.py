"""Which way does a moment bend a fork: does it open it, close it, or bend it sideways?

Forks were broken by pulling them open; sideways they bore 0.84 of that (small specimens; the difference was not
significant) [fork_sideways]. For closing no number was found, so a closed fork gets no more than an opened one.
A fork is then weaker in one plane than in the other, like an oval, and is counted the same way: its moments sideways
are made larger by what they meet less of. Ordinary unions, up to an aspect ratio of a half, have no such plane.
"""

from __future__ import annotations

import numpy as np

from treescan.loads.material.section_strength import towards_codominant
from treescan.loads.sections.section_stress import cross
from treescan.wood.graph import Floats, WoodGraph

SIDEWAYS = 0.84
"""Strength of a codominant fork sideways over that when it is opened: 309 over 368 N."""

ASIDE = 2.0
"""How far from the union the arms' directions are taken, in diameters of the parent (project choice)."""

PARALLEL = np.sin(np.deg2rad(5.0))
"""Arms closer in direction have no plane: such a fork counts as bent sideways all round (project choice)."""

OPENS, CLOSES, BESIDE, EITHER = "opens", "closes", "bends sideways", "bends"
"""What a load does to a fork; the last where its arms run side by side and have no plane."""


def fork_normals(graph: WoodGraph, aspect: Floats) -> Floats:
    """Unit vector square to the two arms of the fork that a segment starts at, (n, 3); 0 where it starts at none or the
    arms run side by side.

    Notes
    -----
    Own arm x the other: a moment along it closes the fork, one against it opens it. Of several other arms the thickest counts.
    """
    out = np.zeros((len(graph), 3))
    for first in np.flatnonzero(towards_codominant(aspect) > 0):
        fork = int(graph.parent[first])
        others = np.flatnonzero(graph.parent == fork)
        others = others[others != first]
        if len(others) == 0:
            continue
        mate = int(others[np.nanargmax(np.where(np.isfinite(graph.segment_radius[others]), graph.segment_radius[others], -1.0))])
        normal = cross(_runs(graph, int(first), fork), _runs(graph, mate, fork))
        size = float(np.linalg.norm(normal))
        if size > PARALLEL:
            out[first] = normal / size
    return out


def _runs(graph: WoodGraph, first: int, fork: int) -> Floats:
    """Direction of an arm from its fork, taken `ASIDE` parent diameters out or at the arm's end."""
    line = np.asarray(graph.limbs.nodes[int(graph.limb[first])], np.int64)
    line = line[line >= first]
    way = graph.xyz[line] - graph.xyz[fork]
    length = np.linalg.norm(way, axis=1)
    far = np.flatnonzero(length >= ASIDE * 2 * np.nan_to_num(graph.radius[fork]))
    at = int(far[0]) if len(far) else len(line) - 1
    return np.asarray(way[at] / max(float(length[at]), 1e-9), float)


def sideways_stretch(axis: Floats, normal: Floats, aspect: Floats) -> tuple[np.ndarray, Floats]:
    """Which sections are weaker sideways, (n,), and the map of their moments to those that open them alike, (n, 3, 3).

    Parameters
    ----------
    axis, normal : (n, 3)   Of the sections; normal from `fork_normals`.
    aspect : (n,) float     NaN away from unions.
    """
    more = 1.0 / (1.0 - (1.0 - SIDEWAYS) * towards_codominant(aspect)) - 1.0
    weaker = more > 0
    flat = normal - np.sum(normal * axis, axis=1, keepdims=True) * axis
    size = np.linalg.norm(flat, axis=1, keepdims=True)
    planar = size[:, 0] > PARALLEL
    side = cross(axis, flat / np.where(size > 0, size, 1.0))
    across = np.where(
        planar[:, None, None], side[:, :, None] * side[:, None, :], np.eye(3) - axis[:, :, None] * axis[:, None, :]
    )
    return weaker, np.eye(3) + np.where(weaker, more, 0.0)[:, None, None] * across


def bent_which_way(moment: Floats, axis: Floats, normal: Floats) -> str:
    """What a moment (3,) on one section does to its fork, by the larger part of it."""
    flat = normal - (normal @ axis) * axis
    size = float(np.linalg.norm(flat))
    if not size > PARALLEL:
        return EITHER
    opens = float(moment @ flat) / size
    beside = float(moment @ cross(axis, flat)) / size
    if abs(beside) > abs(opens):
        return BESIDE
    return CLOSES if opens > 0 else OPENS
