"""Quick pictures of a made-up scan, to look at before it is believed."""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np

from made_up.scan import Scan

COLOURS = np.array(["#6b4a2b", "#d62728", "#4c9a2a", "#9a8f7a", "#5f7fa8", "#8fbf6f", "#b08b9b", "#111111", "#ff7f0e", "#17806d"])


def picture(scan: Scan, path: Path, *, dot: float = 0.15, by: str = "part") -> None:
    """Two elevations, the plan, and a slice at breast height; coloured by what the points are, or by their position."""
    fig, axes = plt.subplots(2, 2, figsize=(20, 20))
    x = scan.xyz
    tree = scan.of("wood", "dead wood", "leaf", "ivy")
    low, high = x[tree].min(axis=0) - 1.5, x[tree].max(axis=0) + 1.5
    order = np.random.default_rng(0).permutation(len(x))
    colour = COLOURS[scan.part] if by == "part" else plt.get_cmap("tab10")(scan.station % 10)
    for ax, (i, j), near in zip(axes.flat[:3], ((0, 2), (1, 2), (0, 1)), (True, True, False), strict=True):
        ax.scatter(x[order, i], x[order, j], s=dot, c=colour[order], lw=0)
        ax.set_aspect("equal")
        if near:
            ax.set_xlim(low[i], high[i])
            ax.set_ylim(low[j], high[j])
    wood = scan.of("wood", "dead wood", "ivy")
    near = wood & (np.abs(x[:, 2] - x[wood, 2].min() - 1.5) < 0.03)
    ax = axes.flat[3]
    ax.scatter(x[near, 0], x[near, 1], s=4, c=plt.get_cmap("tab10")(scan.station[near] % 10), lw=0)
    ax.set_aspect("equal")
    ax.set_title("6 cm slice at breast height, by position")
    fig.tight_layout()
    fig.savefig(path, dpi=55)
    plt.close(fig)


def close_up(scan: Scan, path: Path, centre: np.ndarray, half: float = 0.8, by: str = "station") -> None:
    """Points within a cube, seen from two sides."""
    near = np.all(np.abs(scan.xyz - centre) < half, axis=1)
    got = scan.where(near)
    colour = COLOURS[got.part] if by == "part" else plt.get_cmap("tab10")(got.station % 10)
    fig, axes = plt.subplots(1, 2, figsize=(20, 10))
    for ax, (i, j) in zip(axes, ((0, 2), (1, 2)), strict=True):
        ax.scatter(got.xyz[:, i], got.xyz[:, j], s=1.5, c=colour, lw=0)
        ax.set_aspect("equal")
    fig.tight_layout()
    fig.savefig(path, dpi=55)
    plt.close(fig)
