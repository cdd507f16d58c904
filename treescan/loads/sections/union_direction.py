"""Which way does a moment bend a fork: does it open it, close it, or bend it sideways?

Forks were broken by pulling them open; sideways they bore 0.84 of that (small specimens; the difference was not
significant) [fork_sideways]. For closing no number was found, so a closed fork gets no more than an opened one.
A fork is then weaker in one plane than in the other, like an oval, and is counted the same way: its moments sideways
are made larger by what they meet less of. Ordinary unions, up to an aspect ratio of a half, have no such plane.
"""

from __future__ import annotations

import numpy as np
from numba import njit

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
    limb_of, first_of = _lines(graph)
    return np.asarray(
        _fork_normals(
            graph.parent, graph.xyz, graph.radius, graph.segment_radius, towards_codominant(aspect) > 0,
            np.asarray(graph.limb, np.int64), limb_of, first_of,
        ),
        float,
    )  # fmt: skip


def _lines(graph: WoodGraph) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of all limbs one after the other, and where each limb begins among them, with the end."""
    lines = [np.asarray(line, np.int64) for line in graph.limbs.nodes]
    return np.concatenate([*lines, np.zeros(0, np.int64)]), np.cumsum([0, *(len(line) for line in lines)])


@njit(cache=True, error_model="numpy")
def _fork_normals(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    parent, xyz, radius, segment_radius, forks, limb, nodes, begins,
):
    """See `fork_normals`; forks (n,) bool, limb (n,) of every node, nodes and begins from `_lines`."""
    out = np.zeros((len(parent), 3))
    own, other = np.zeros(3), np.zeros(3)
    mate = np.full(len(parent), -1)  # of every fork: its thickest arm, and the thickest but that
    second = np.full(len(parent), -1)

    def thick(i):  # type: ignore[no-untyped-def]
        return segment_radius[i] if np.isfinite(segment_radius[i]) else -1.0

    for i in range(len(parent)):
        at = parent[i]
        if at < 0:
            continue
        if mate[at] < 0 or thick(i) > thick(mate[at]):
            mate[at], second[at] = i, mate[at]
        elif second[at] < 0 or thick(i) > thick(second[at]):
            second[at] = i
    for first in range(len(parent)):
        at = parent[first]
        if not forks[first] or at < 0:
            continue
        beside = second[at] if mate[at] == first else mate[at]
        if beside < 0:
            continue
        _runs(parent, xyz, radius, limb, nodes, begins, first, own)
        _runs(parent, xyz, radius, limb, nodes, begins, beside, other)
        x = own[1] * other[2] - own[2] * other[1]
        y = own[2] * other[0] - own[0] * other[2]
        z = own[0] * other[1] - own[1] * other[0]
        size = np.sqrt(x * x + y * y + z * z)
        if size > PARALLEL:
            out[first, 0], out[first, 1], out[first, 2] = x / size, y / size, z / size
    return out


@njit(cache=True, error_model="numpy")
def _runs(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    parent, xyz, radius, limb, nodes, begins, first, out,
):
    """Direction of an arm from its fork, taken `ASIDE` parent diameters out or at the arm's end (writes out (3,))."""
    fork = parent[first]
    far = ASIDE * 2 * radius[fork] if np.isfinite(radius[fork]) else 0.0
    for j in range(begins[limb[first]], begins[limb[first] + 1]):
        if nodes[j] < first:
            continue
        x, y, z = xyz[nodes[j]] - xyz[fork]
        length = np.sqrt(x * x + y * y + z * z)
        out[0], out[1], out[2] = x / max(length, 1e-9), y / max(length, 1e-9), z / max(length, 1e-9)
        if length >= far:
            return


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
