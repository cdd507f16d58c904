"""Where did a scan go wrong? The truth, what was claimed, and unions missed and invented, from two sides."""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from matplotlib.collections import LineCollection

from second_bench.making import Made
from second_bench.scoring import Score
from second_bench.street import KINDS


def draw(made: Made, tree: dict, beside: dict | None, score: Score, path: Path) -> None:
    """Write one picture (PNG)."""
    figure, panels = plt.subplots(1, 3, figsize=(24, 11))
    nodes = (
        np.array([n["xyz"] for n in tree["nodes"]]).reshape(-1, 3) + np.asarray(tree["origin"]) - made.origin
    )
    radius = np.array([n["radius"] for n in tree["nodes"]])
    seen = np.array([n.get("seen", True) for n in tree["nodes"]])
    pairs = np.array([(s["parent"], s["child"]) for s in tree["segments"]], int).reshape(-1, 2)
    thin = np.random.default_rng(0).permutation(len(made.scan.xyz))[:60_000]
    for panel, (a, b), what in zip(
        panels,
        ((0, 2), (1, 2), (0, 2)),
        ("truth and claim", "truth and claim", "points and cells"),
        strict=True,
    ):
        if what == "points and cells":
            for k in np.unique(made.scan.kind):
                p = made.scan.xyz[thin][made.scan.kind[thin] == k]
                panel.plot(p[:, a], p[:, b], ".", ms=0.6, label=KINDS[k])
            cells = (
                np.asarray((beside or {}).get("xyz", []), float).reshape(-1, 3)
                + np.asarray(tree["origin"])
                - made.origin
            )
            kinds = np.asarray((beside or {}).get("kind", []), int)
            for k in np.unique(kinds):
                panel.plot(
                    cells[kinds == k, a],
                    cells[kinds == k, b],
                    "s",
                    ms=3,
                    mfc="none",
                    label="called " + beside["kinds"][k],
                )
            panel.legend(markerscale=4)
        else:
            for m in made.scene.limbs:
                line = np.stack([m.xyz[:-1][:, [a, b]], m.xyz[1:][:, [a, b]]], axis=1)
                panel.add_collection(
                    LineCollection(line, linewidths=np.maximum(m.radius[1:] * 60, 0.4), colors="0.75")
                )
            line = np.stack([nodes[pairs[:, 0]][:, [a, b]], nodes[pairs[:, 1]][:, [a, b]]], axis=1)
            colour = np.where(seen[pairs[:, 1]], "tab:green", "tab:orange")
            panel.add_collection(
                LineCollection(line, linewidths=np.maximum(radius[pairs[:, 1]] * 25, 0.4), colors=colour)
            )
            for m in score.misses:
                panel.plot(m["xyz"][a], m["xyz"][b], "rx" if m["what"] == "missed" else "b+", ms=9, mew=2)
        panel.autoscale()
        panel.set_aspect("equal")
        panel.set_title(
            f"{made.recipe.name}: {what} (red x missed, blue + false, orange not seen)", fontsize=9
        )
    figure.tight_layout()
    figure.savefig(path, dpi=60)
    plt.close(figure)
