"""Small charts of the report: margins with their spread, shares as bars, and where the axis of a spiky curve ends."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from treescan.estimate import Estimate
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.text.say import figure, text
from treescan.outputs.text.wording import finite

WIDE, ROW, LABEL = 640.0, 26.0, 178.0
"""Of a chart on a desk; its rows, and the room for their names. [drawing units]"""
SPIKE = 0.02
"""Share of the length of wood under which a peak does not stretch the axis. (Project choice.)"""
NARROW, NARROW_LABEL = 380.0, 150.0
"""Of a chart on a phone, where a unit is a pixel."""


def margin_chart(rows: Sequence[tuple[str, Estimate]], narrow: bool = False) -> Drawing:
    """Strength over stress on a logarithmic scale: a bar from the 5th to the 95th percentile, a stroke at the median."""
    known = [e for _, e in rows if e.known]
    high = max([e.p95 for e in known if math.isfinite(e.p95)] + [10.0])
    low = min([e.p5 for e in known if math.isfinite(e.p5) and e.p5 > 0] + [0.8])
    ends = math.log(low * 0.6), math.log(high * 1.1)
    whole, label_end = (NARROW, NARROW_LABEL) if narrow else (WIDE, LABEL)
    d = Drawing(whole, ROW * len(rows) + 44, text("chart_margins"))
    ticks = (0.1, 0.5, 1, 2, 5, 20, 100) if narrow else (0.1, 0.2, 0.5, 1, 2, 3, 5, 10, 20, 50, 100, 200)

    def x(value: float) -> float:
        return label_end + (math.log(max(value, 1e-6)) - ends[0]) / (ends[1] - ends[0]) * (whole - label_end - 20)

    bottom = ROW * len(rows) + 6
    for tick in ticks:
        if ends[0] <= math.log(tick) <= ends[1]:
            d.line(np.array([[x(tick), 2], [x(tick), bottom]]), "limit" if tick == 1 else "grid")
            d.text(x(tick), bottom + 15, f"{tick:g}", "t small", "middle")
    if not narrow:
        d.text(label_end, bottom + 32, text("chart_margins_axis"), "t small faint")
    for i, (label, e) in enumerate(rows):
        y = ROW * i + ROW / 2 + 2
        d.text(label_end - 10, y + 4, label, "t", "end")
        if not e.known:
            d.text(label_end + 6, y + 4, figure(None, "x"), "t faint")
            continue
        d.rect(x(e.p5), y - 5, x(e.p95) - x(e.p5), 10, "spread")
        d.line(np.array([[x(e.median), y - 9], [x(e.median), y + 9]]), "median")
        d.line(np.array([[x(e.p5), y - 7], [x(e.p5), y + 7]]), "low")
        inside = x(e.p5) - 7 - 34 > label_end
        d.text(x(e.p5) + (-7 if inside else 4), y + 4, figure(e.p5, "x2"), "t strong halo-text", "end" if inside else "start")
    return d


def share_bars(
    rows: Sequence[tuple[str, Sequence[float]]], bars: int, title: str, narrow: bool = False
) -> Drawing:
    """Shares in [0, 1] as bars, one group a row, darker for the stricter."""
    thick = 22.0 / bars
    whole, label_end = (NARROW, NARROW_LABEL) if narrow else (WIDE, LABEL)
    d = Drawing(whole, ROW * len(rows) + 34, title)
    wide = whole - label_end - (104 if narrow and bars > 1 else 132 if bars > 1 else 60)
    bottom = ROW * len(rows) + 4
    for tick in (0.0, 0.5, 1.0) if narrow else (0.0, 0.25, 0.5, 0.75, 1.0):
        d.line(np.array([[label_end + wide * tick, 2], [label_end + wide * tick, bottom]]), "grid")
        d.text(label_end + wide * tick, bottom + 15, figure(tick, "%"), "t small", "middle")
    for i, (label, values) in enumerate(rows):
        y = ROW * i + 3
        d.text(label_end - 10, y + 14, label, "t", "end")
        if not values:
            d.text(label_end + 6, y + 14, text("chart_no_throw_short" if narrow else "chart_no_throw"), "t small faint")
            continue
        for j, v in enumerate(values):
            known = finite(v)
            d.rect(label_end, y + j * thick, wide * v if known else 0.0, max(thick - 1, 2), f"bar{j}")
        d.text(
            label_end + wide * max([v for v in values if finite(v)] + [0.0]) + 6,
            y + 14,
            " / ".join(figure(v, "%") for v in values),
            "t small",
        )
    return d


def without_spikes(use: NDArray[np.float64], length: NDArray[np.float64]) -> float:
    """Top of an axis that shows what most of the wood bears: the greatest use, but where that stands over less than 2 % of the
    length no more than twice what the rest reaches.

    Parameters
    ----------
    use : (k,) float        Use of capacity of each section; NaN = not known.
    length : (k,) float     Of each section. [m]
    """
    known = np.isfinite(use)
    order = np.argsort(use[known])
    along = np.cumsum(length[known][order]) / max(float(length[known].sum()), 1e-9)
    rest = float(use[known][order][min(int(np.searchsorted(along, 1 - SPIKE)), len(order) - 1)])
    top = float(use[known].max())
    return min(top, 2.0 * rest) if rest > 0 else top
