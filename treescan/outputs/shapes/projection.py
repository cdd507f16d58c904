"""How does the tree look from a standpoint, and which limbs are hidden? Parallel view, as in a builder's elevation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.outputs.shapes.tubes import Run, runs, spaced
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]
MOST_PIECES = 1100
RASTER = 0.04
"""Cell of the depth picture that decides what is hidden. [m]"""


@dataclass(frozen=True)
class Standpoint:
    """Where the reader stands: `azimuth` of the reader seen from the stem [rad, clockwise from north]."""

    azimuth: float
    centre: Floats

    def across_up_away(self, xyz: Floats) -> Floats:
        """Points (..., 3) as metres to the right, up, and away from the reader."""
        s, c = np.sin(self.azimuth), np.cos(self.azimuth)
        d = np.asarray(xyz, float) - self.centre
        return np.stack(
            [-c * d[..., 0] + s * d[..., 1], d[..., 2] + self.centre[2], -(s * d[..., 0] + c * d[..., 1])],
            axis=-1,
        )


@dataclass(frozen=True)
class SeenLimb:
    """One limb in the view.

    `line` (k, 3) right, up, away [m]; `radius` (k,) [m]; `hidden` (k - 1,) of each drawn piece; `nodes` (j,) of the limb, and
    `piece_of_node` (j,), the drawn piece that holds each node's segment.
    """

    line: Floats
    radius: Floats
    hidden: NDArray[np.bool_]
    nodes: NDArray[np.int32]
    piece_of_node: NDArray[np.intp]


def seen_limbs(
    graph: WoodGraph, standpoint: Standpoint, wanted: NDArray[np.bool_] | None = None
) -> list[SeenLimb]:
    """Limbs in drawing order, the farthest first.

    Parameters
    ----------
    wanted : (n,) bool, optional    Nodes whose limbs are drawn even where thin (the load path).
    """
    chosen = _thickest(runs(graph), wanted)
    lines, pieces = [], []
    for run, rows in chosen:
        line = standpoint.across_up_away(run.line[rows])
        lines.append((run, rows, line, run.radius[rows]))
        pieces.append((line[:-1], line[1:], run.radius[rows][:-1], run.radius[rows][1:]))
    if not lines:
        return []
    start, end, r0, r1 = (np.concatenate([p[i] for p in pieces]) for i in range(4))
    hidden = _hidden(start, end, r0, r1)
    out, at = [], 0
    for run, rows, line, radius in lines:
        count = len(rows) - 1
        of_node = np.searchsorted(rows, np.arange(1, len(run.line))) - 1
        out.append(SeenLimb(line, radius, hidden[at : at + count], run.node, of_node))
        at += count
    out.sort(key=lambda s: -float(np.average((s.line[:-1, 2] + s.line[1:, 2]) / 2)))
    return out


def _thickest(
    all_runs: Sequence[Run], wanted: NDArray[np.bool_] | None
) -> list[tuple[Run, NDArray[np.intp]]]:
    """Runs with few rows, thickest limbs first, until the drawing is full."""
    out, count = [], 0
    for run in sorted(
        all_runs, key=lambda r: (wanted is None or not wanted[r.node].any(), -float(r.radius.max()))
    ):
        rows = _rows(run)
        count += len(rows)
        if count > MOST_PIECES and not (wanted is not None and wanted[run.node].any()):
            break
        out.append((run, rows))
    return out


def _rows(run: Run) -> NDArray[np.intp]:
    """Every second radius or 30 cm a ring."""
    return spaced(run.line, np.maximum(0.3, 2 * run.radius), np.zeros(len(run.line), bool))


def _hidden(start: Floats, end: Floats, r0: Floats, r1: Floats) -> NDArray[np.bool_]:
    """Pieces whose middle lies behind another limb in the view, by a depth picture of all pieces."""
    length = np.linalg.norm((end - start)[:, :2], axis=1)
    width = np.maximum(r0, r1)
    steps = np.ceil(length / RASTER).astype(int) + 1
    sides = 2 * np.ceil(width / RASTER).astype(int) + 1
    count = steps * sides
    piece = np.repeat(np.arange(len(start)), count)
    k = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    t = (k // sides[piece] + 0.5) / steps[piece]
    w = ((k % sides[piece]) + 0.5) / sides[piece] * 2 - 1
    centre = start[piece] + t[:, None] * (end - start)[piece]
    r = r0[piece] + t * (r1 - r0)[piece]
    d = (end - start)[:, :2] / np.maximum(length, 1e-9)[:, None]
    normal = np.stack([-d[:, 1], d[:, 0]], axis=1)[piece]
    xy = centre[:, :2] + (w * r)[:, None] * normal
    depth = centre[:, 2] - r * np.sqrt(np.maximum(0.0, 1 - w**2))
    low = xy.min(axis=0)
    cell = np.floor((xy - low) / RASTER).astype(int)
    shape = cell.max(axis=0) + 1
    nearest = np.full(shape[0] * shape[1], np.inf)
    np.minimum.at(nearest, cell[:, 0] * shape[1] + cell[:, 1], depth)
    middle = (start + end) / 2
    m = np.floor((middle[:, :2] - low) / RASTER).astype(int)
    m = np.clip(m, 0, shape - 1)
    front = nearest[m[:, 0] * shape[1] + m[:, 1]]
    return front < middle[:, 2] - 2.5 * width - 0.05
