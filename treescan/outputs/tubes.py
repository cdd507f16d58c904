"""Limbs as tapered tubes: runs of rings along each limb, for any 3-D viewer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import unit
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Run:
    """A chain of nodes as one tube: `line` (k, 3) [m], `radius` (k,) [m], `node` (k - 1,) child node of each piece, `limb`."""

    line: Floats
    radius: Floats
    node: NDArray[np.int32]
    limb: int


def runs(graph: WoodGraph) -> list[Run]:
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
    return out


def few_rings(run: Run, state: NDArray[np.integer]) -> NDArray[np.intp]:
    """Rows of `run.line` to keep: a ring every 1.5 radii or 15 cm, and wherever the state (one per piece) changes."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run.line, axis=0), axis=1))]).tolist()
    apart = np.maximum(0.15, 1.5 * run.radius).tolist()
    turns = np.concatenate([[False], state[1:] != state[:-1]]).tolist()
    keep, last, end = [0], 0.0, len(run.line) - 1
    for i in range(1, end):
        if along[i] - last >= apart[i] or turns[i]:
            keep.append(i)
            last = along[i]
    return np.array([*keep, end])


def thinned(run: Run, state: NDArray[np.integer]) -> Run:
    """The run with few rings; `node` then holds for each piece the first of the nodes it stands for, all of one state."""
    rows = few_rings(run, state)
    return Run(run.line[rows], run.radius[rows], run.node[rows[:-1]], run.limb)


def rings(line: Floats, radius: Floats, sides: int) -> tuple[Floats, Floats]:
    """Ring vertices and outward normals along a line, (k, sides, 3) each; rings turn as little as possible."""
    step = unit(np.diff(line, axis=0))
    step = np.where(np.linalg.norm(step, axis=1, keepdims=True) > 0, step, [[0.0, 0.0, 1.0]])
    along = unit(np.concatenate([step[:1], step[:-1] + step[1:], step[-1:]]))
    along = np.where(np.linalg.norm(along, axis=1, keepdims=True) > 0, along, np.concatenate([step[:1], step]))
    across = np.empty_like(along)
    start = np.eye(3)[int(np.argmin(np.abs(along[0])))]
    for i, d in enumerate(along):
        start = start - (start @ d) * d
        length = np.linalg.norm(start)
        start = start / length if length > 1e-9 else unit(np.cross(d, np.eye(3)[int(np.argmin(np.abs(d)))]))
        across[i] = start
    other = np.cross(along, across)
    turn = 2 * np.pi * np.arange(sides) / sides
    normal = np.cos(turn)[None, :, None] * across[:, None] + np.sin(turn)[None, :, None] * other[:, None]
    return line[:, None] + radius[:, None, None] * normal, normal


def tube_faces(pieces: NDArray[np.intp], sides: int) -> NDArray[np.int64]:
    """Triangles (2 sides len(pieces), 3) of the pieces between ring i and ring i + 1, outward side counter-clockwise."""
    j = np.arange(sides)
    k = (j + 1) % sides
    a, b = pieces[:, None] * sides + j, pieces[:, None] * sides + k
    c, d = a + sides, b + sides
    return np.stack([np.stack([a, b, d], -1), np.stack([a, d, c], -1)], axis=2).reshape(-1, 3)
