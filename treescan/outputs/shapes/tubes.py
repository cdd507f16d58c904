"""Limbs as tapered tubes: runs of rings along each limb, for any 3-D viewer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.outputs.shapes.cached import cached
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Run:
    """A chain of nodes as one tube: `line` (k, 3) [m], `radius` (k,) [m], `node` (k - 1,) child node of each piece, `limb`."""

    line: Floats
    radius: Floats
    node: NDArray[np.int32]
    limb: int


@cached
def runs(graph: WoodGraph) -> tuple[Run, ...]:
    """One run for every limb, starting at the union it leaves from."""
    out = []
    for k, own in enumerate(graph.limbs.nodes):
        nodes = own[own > 0]
        if len(nodes) == 0:
            continue
        line = np.concatenate([[graph.parent[nodes[0]]], nodes])
        radius = graph.radius[line].copy()
        if line[0] != 0:
            radius[0] = graph.segment_radius[nodes[0]]
        out.append(Run(graph.xyz[line], np.maximum(radius, 0.003), nodes.astype(np.int32), k))
    return tuple(out)


def few_rings(run: Run, state: NDArray[np.integer]) -> NDArray[np.intp]:
    """Rows of `run.line` to keep: a ring every 1.5 radii or 15 cm, and wherever the state (one per piece) changes."""
    turns = np.zeros(len(run.line), bool)
    turns[1:-1] = state[1:] != state[:-1]
    return spaced(run.line, np.maximum(0.15, 1.5 * run.radius), turns)


@njit(cache=True)
def spaced(
    line: Floats, apart: Floats, always: NDArray[np.bool_]
) -> NDArray[np.intp]:  # pragma: no cover - compiled
    """Rows of a line (k, 3) to keep: the first, each at least its own distance `apart` (k,) beyond the last one kept or wanted `always`
    (k,), and the end."""
    keep, count, along, last, end = np.zeros(len(line) + 1, np.intp), 1, 0.0, 0.0, len(line) - 1
    for i in range(1, end):
        d = line[i] - line[i - 1]
        along += np.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
        if along - last >= apart[i] or always[i]:
            keep[count] = i
            count, last = count + 1, along
    keep[count] = end
    return keep[: count + 1]


def thinned(run: Run, state: NDArray[np.integer]) -> Run:
    """The run with few rings; `node` then holds for each piece the first of the nodes it stands for, all of one state."""
    rows = few_rings(run, state)
    return Run(run.line[rows], run.radius[rows], run.node[rows[:-1]], run.limb)


def rings(line: Floats, radius: Floats, sides: int) -> tuple[Floats, Floats]:
    """Ring vertices and outward normals along a line, (k, sides, 3) each; rings turn as little as possible."""
    turn = 2 * np.pi * np.arange(sides) / sides
    return _rings(np.asarray(line, float), np.asarray(radius, float), np.cos(turn), np.sin(turn))


@njit(cache=True)
def _rings(line, radius, cos, sin):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """See `rings`."""
    k = len(line)
    vertex, normal = np.empty((k, len(cos), 3)), np.empty((k, len(cos), 3))
    step = np.zeros((k - 1, 3))
    for i in range(k - 1):
        d = line[i + 1] - line[i]
        length = np.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2)
        if length > 0:
            step[i] = d / length
        else:
            step[i, 2] = 1.0
    across, eye = np.zeros(3), np.eye(3)
    for i in range(k):
        before, after = step[max(i - 1, 0)], step[min(i, k - 2)]
        along = before + after
        length = np.sqrt(along[0] ** 2 + along[1] ** 2 + along[2] ** 2)
        along = along / length if length > 0 else before.copy()
        if i == 0:
            across = eye[np.argmin(np.abs(along))].copy()
        across = across - (across[0] * along[0] + across[1] * along[1] + across[2] * along[2]) * along
        length = np.sqrt(across[0] ** 2 + across[1] ** 2 + across[2] ** 2)
        if length <= 1e-9:  # the limb turned right into it
            across = np.cross(along, eye[np.argmin(np.abs(along))])
            length = np.sqrt(across[0] ** 2 + across[1] ** 2 + across[2] ** 2)
        across = across / length
        other = np.cross(along, across)
        for j in range(len(cos)):
            normal[i, j] = cos[j] * across + sin[j] * other
            vertex[i, j] = line[i] + radius[i] * normal[i, j]
    return vertex, normal


def tube_faces(pieces: NDArray[np.intp], sides: int) -> NDArray[np.int64]:
    """Triangles (2 sides len(pieces), 3) of the pieces between ring i and ring i + 1, outward side counter-clockwise."""
    j = np.arange(sides)
    k = (j + 1) % sides
    a, b = pieces[:, None] * sides + j, pieces[:, None] * sides + k
    c, d = a + sides, b + sides
    return np.stack([np.stack([a, b, d], -1), np.stack([a, d, c], -1)], axis=2).reshape(-1, 3)
