"""figures.pdf: vector figures for a paper: skeleton, taper, capacity down the load path, chance map, reach."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.outputs.drawing.charts import without_spikes
from treescan.outputs.drawing.plan_drawing import LINES
from treescan.outputs.shapes.tubes import runs, thinned
from treescan.outputs.shapes.use_of_capacity import UNSEEN
from treescan.outputs.text import wording
from treescan.outputs.text.say import figure as say_figure
from treescan.outputs.text.say import text
from treescan.planning.tie_in_point import TieInPoint

INK, BLUE, ORANGE, SAND = "#1b2a33", "#17507f", "#a8480b", "#c9bda6"
ORDER_COLOURS = ("#5b4a2f", "#17507f", "#6fa8cf", "#b8b2a4")
ORDER_WORDS = ("paper_stem", "paper_first_order", "paper_second_order", "paper_finer")
STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "pdf.fonttype": 42,
}


def figures_bytes(a: Assessment) -> bytes:
    """One page a figure, the same bytes for the same assessment; figures that have nothing to show are left out."""
    out = io.BytesIO()
    meta = {"CreationDate": None, "Title": "treescan figures", "Subject": CAUTIONS["planning_aid"]}
    with wording.written_for(a.settings.reader), rc_context(STYLE), PdfPages(out, metadata=meta) as pages:
        for draw in FIGURES:
            figure = draw(a)
            if figure is not None:
                pages.savefig(figure)
        pages.savefig(_cautions())
    return out.getvalue()


def _page(title: str, columns: int = 1) -> tuple[Figure, Any]:
    """An empty page with its title and the standing caution at the foot."""
    figure = Figure(figsize=(7.5, 6.2))
    axes = figure.subplots(1, columns, squeeze=False)[0]
    figure.subplots_adjust(left=0.1, right=0.97, top=0.9, bottom=0.2, wspace=0.3)
    figure.suptitle(title, x=0.1, ha="left", fontsize=11, color=INK)
    figure.text(
        0.1, 0.015, textwrap.fill(CAUTIONS["planning_aid"], 125), fontsize=6.5, color=INK, va="bottom"
    )
    return figure, axes


def _cautions() -> Figure:
    """The last page: every caution in full."""
    figure = Figure(figsize=(7.5, 6.2))
    text = "\n".join(textwrap.fill(t, 105, subsequent_indent="  ") for t in CAUTIONS.values())
    figure.text(0.08, 0.95, text, fontsize=7, color=INK, va="top")
    return figure


def _first(a: Assessment) -> TieInPoint | None:
    return next((p for p in a.points if p.usable), None)


def _skeleton(a: Assessment) -> Figure:
    """Axes of stem and limbs from the south and from the east, by order; unseen pieces dotted."""
    g, base = a.tree.graph, a.tree.graph.xyz[0]
    figure, axes = _page(text("paper_skeleton"), 2)
    drawn = [thinned(run, g.seen[run.node].astype(int)) for run in runs(g)]
    start, end = (
        np.concatenate([run.line[cut] for run in drawn]) - base for cut in (slice(None, -1), slice(1, None))
    )
    node = np.concatenate([run.node for run in drawn])
    order = np.minimum(g.limbs.order[g.limb[node]], 3)
    width = np.exp2(np.round(2 * np.log2(np.clip(20 * g.segment_radius[node], 0.4, 6.0))) / 2)
    for ax, across, code in ((axes[0], 0, "paper_to_east"), (axes[1], 1, "paper_to_north")):
        pieces = np.stack([start[:, [across, 2]], end[:, [across, 2]]], axis=1)
        for k, seen, w in sorted(
            {(int(o), bool(s), float(v)) for o, s, v in zip(order, g.seen[node], width, strict=True)},
            reverse=True,
        ):
            rows = (order == k) & (g.seen[node] == seen) & (width == w)
            ax.add_artist(
                _lines(
                    pieces[rows],
                    w,
                    ORDER_COLOURS[k] if seen else UNSEEN.colour,
                    "solid" if seen else (0, (1, 1)),
                )
            )
        ax.update_datalim(pieces.reshape(-1, 2))
        ax.autoscale()
        ax.set_aspect("equal", adjustable="datalim")
        ax.set_xlabel(text(code))
        ax.set_ylabel(text("paper_height"))
    keys = [
        Line2D([], [], color=colour, lw=2, label=text(code))
        for colour, code in zip(ORDER_COLOURS, ORDER_WORDS, strict=True)
    ]
    axes[1].legend(handles=keys, frameon=False, fontsize=8, loc="upper left")
    return figure


def _lines(pieces: NDArray, width: float, colour: str, dash: Any) -> PathPatch:
    """Many short lines of one look as one mark, which keeps the file small."""
    codes = np.tile(np.array([Path.MOVETO, Path.LINETO], np.uint8), len(pieces))
    path = Path(pieces.reshape(-1, 2), codes)
    return PathPatch(
        path, facecolor="none", edgecolor=colour, linewidth=width, linestyle=dash, capstyle="round"
    )


def _taper(a: Assessment) -> Figure:
    """Diameter of the stem and of the thickest limbs against distance from their start."""
    g = a.tree.graph
    figure, axes = _page(text("paper_taper"), 2)
    _taper_line(axes[0], a, 0, BLUE)
    axes[0].set_title(text("paper_stem"), fontsize=9, loc="left")
    limbs = [
        k for k in np.argsort([-g.segment_radius[n[0]] if len(n) else 0.0 for n in g.limbs.nodes]) if k != 0
    ][:5]
    for k, colour in zip(limbs, (BLUE, ORANGE, "#6fa8cf", "#dd7a1f", INK), strict=False):
        _taper_line(axes[1], a, int(k), colour)
    axes[1].set_title(text("paper_thickest"), fontsize=9, loc="left")
    for ax in axes:
        ax.set_xlabel(text("paper_along"))
        ax.set_ylabel(text("paper_diameter"))
        ax.set_ylim(bottom=0)
    return figure


def _taper_line(ax: Any, a: Assessment, limb: int, colour: str) -> None:
    g = a.tree.graph
    nodes = g.limbs.nodes[limb]
    nodes = nodes[nodes > 0]
    along = np.cumsum(g.length[nodes])
    thick, spread = 200 * g.segment_radius[nodes], 200 * np.nan_to_num(g.radius_sd[nodes])
    ax.plot(along, thick, color=colour, lw=1.2)
    ax.fill_between(along, thick - spread, thick + spread, color=colour, alpha=0.2, lw=0)
    hidden = ~g.seen[nodes]
    ax.plot(along[hidden], thick[hidden], ".", color=UNSEEN.colour, ms=3)


def _capacity(a: Assessment) -> Figure | None:
    """Use of capacity from the rope down to the ground for the first three candidates."""
    usable = [p for p in a.points if p.usable][:3]
    if not usable:
        return None
    figure, axes = _page(text("paper_capacity"))
    ax = axes[0]
    top = max(_axis_top(a, p) for p in usable)
    for p, colour in zip(usable, (BLUE, ORANGE, INK), strict=False):
        c = p.check.check
        along = np.cumsum(a.tree.graph.length[c.nodes])
        ax.plot(
            along,
            100 * c.utilisation,
            color=colour,
            lw=1.4,
            drawstyle="steps-pre",
            label=text("chart_candidate", rank=p.rank, label=p.label, system=p.system),
        )
        at = np.flatnonzero(c.nodes == c.governing)
        if len(at):
            use = float(c.utilisation[at[0]])
            ax.plot(along[at[0]], 100 * min(use, top), "x", color=colour, ms=8, mew=2)
            if use > top:
                ax.annotate(say_figure(use, "%"), (along[at[0]], 100 * top), fontsize=8, color=colour)
    ax.set_xlabel(text("paper_from_rope"))
    ax.set_ylabel(text("paper_use"))
    ax.set_ylim(0, 110 * top)
    ax.legend(frameon=False)
    return figure


def _axis_top(a: Assessment, p: TieInPoint) -> float:
    """Of the use of capacity under one candidate, without the spike of a short piece."""
    c = p.check.check
    use = np.asarray(c.utilisation, float)
    return without_spikes(use, a.tree.graph.length[c.nodes]) if np.isfinite(use).any() else 0.01


def _chance(a: Assessment) -> Figure | None:
    """Chance of one throw from every standing place, for the first candidate."""
    p = _first(a)
    if p is None or p.throw is None or not len(a.throws.stances):
        return None
    figure, axes = _page(text("paper_chance", line=LINES[p.throw.isolation_class], union=p.label))
    ax, base = axes[0], a.tree.graph.xyz[0]
    xy = a.throws.stances.xyz[:, :2] - base[:2]
    chance = np.asarray(a.throws.chance, float)[p.union, :, min(max(p.throw.isolation_class, 1), 3) - 1]
    dots = ax.scatter(
        xy[:, 0],
        xy[:, 1],
        c=chance,
        cmap="Blues",
        vmin=0,
        vmax=max(float(chance.max()), 1e-6),
        s=26,
        edgecolors=INK,
        linewidths=0.3,
    )
    figure.colorbar(dots, ax=ax, label=text("paper_chance_bar"))
    ax.plot(*(a.tree.graph.unions.rope_place(p.union) - base)[:2], "o", mfc="white", mec=INK, mew=2)
    ax.plot(*(p.throw.stand - base)[:2], "^", color=ORANGE, ms=9)
    ax.set_aspect("equal")
    ax.set_xlabel(text("paper_east"))
    ax.set_ylabel(text("paper_north"))
    return figure


def _reach(a: Assessment) -> Figure | None:
    """Share of the work served, by height and by radius, from the first candidate and from all ranked ones together."""
    usable = [p for p in a.points if p.usable]
    if not usable or not len(a.work):
        return None
    figure, axes = _page(text("paper_reach"), 2)
    base = a.tree.graph.xyz[0]
    every = np.any([p.reach.served for p in usable], axis=0)
    for ax, value, code in (
        (axes[0], a.work.xyz[:, 2] - base[2], "paper_height"),
        (axes[1], np.hypot(*(a.work.xyz[:, :2] - base[:2]).T), "paper_level"),
    ):
        edges = np.linspace(0, max(float(value.max()), 1.0), 9)
        for served, colour, name in (
            (every, SAND, text("paper_all_ranked")),
            (usable[0].reach.served, BLUE, text("paper_first", label=usable[0].label)),
        ):
            ax.stairs(
                100 * _shares(value, served, a.work.weight, edges), edges, fill=True, color=colour, label=name
            )
        ax.set_xlabel(text(code))
        ax.set_ylabel(text("paper_served"))
        ax.set_ylim(0, 100)
    axes[1].legend(frameon=False)
    return figure


def _shares(value: NDArray, served: NDArray, weight: NDArray, edges: NDArray) -> NDArray:
    """Weighted share served in each bin; NaN where there is no work."""
    total = np.histogram(value, edges, weights=weight)[0]
    done = np.histogram(value, edges, weights=weight * served)[0]
    return np.divide(done, total, out=np.full(len(total), np.nan), where=total > 0)


def _strata(a: Assessment) -> Figure | None:
    """Share of the work reached in each part of the crown, by height and distance, with its bounds in metres."""
    strata = a.climb.strata if a.climb else ()
    if not strata or not any(p.usable for p in a.points):
        return None
    figure, (ax,) = _page(text("paper_strata"))
    for s in strata:
        (x0, x1), (y0, y1) = s.distance, s.height
        shade = 0.25 + 0.75 * (1 - s.with_walking)
        ax.add_patch(Rectangle((x0, y0), x1 - x0, y1 - y0, facecolor=(shade, 0.55 + 0.45 * shade, 1.0), edgecolor=INK, lw=0.8))
        words = text("paper_stratum", rope=100 * s.by_rope, every=100 * s.with_walking, points=s.points)
        ax.text((x0 + x1) / 2, (y0 + y1) / 2, words.replace("; ", "\n"), ha="center", va="center", color=INK, fontsize=9)
    for axis, bounds in ((ax.xaxis, {v for s in strata for v in s.distance}), (ax.yaxis, {v for s in strata for v in s.height})):
        ticks = sorted(bounds)
        axis.set_ticks(ticks, [f"{v:.1f}" for v in ticks])
    ax.set_xlim(min(s.distance[0] for s in strata), max(s.distance[1] for s in strata))
    ax.set_ylim(min(s.height[0] for s in strata), max(s.height[1] for s in strata))
    ax.set_xlabel(text("paper_level"))
    ax.set_ylabel(text("paper_height"))
    return figure


FIGURES: tuple[Callable[[Assessment], Figure | None], ...] = (_skeleton, _taper, _capacity, _chance, _reach, _strata)
