"""What else reaches the work that no straight rope serves, and why is the rest left over?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from treescan.loads.pull.load_cases import rope_angles
from treescan.planning.reach.swing import limb_named
from treescan.planning.reach.ways_to_work import NOT_REACHED, POLE_SAW, REDIRECT, WayToWork
from treescan.planning.redirects.redirect import Redirect
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import UNSEEN, TieInPoint, Work
from treescan.reason import Reason, has
from treescan.wood.graph import WoodGraph

NOT_THE_WOOD = frozenset({"serves_no_work", "not_reachable"})
"""Codes of gates that say nothing of the wood."""


def by_redirects(
    ways: Sequence[WayToWork],
    redirects: Sequence[tuple[str, Redirect]],
    points: Sequence[TieInPoint],
    work: Work,
) -> tuple[WayToWork, ...]:
    """The same ways, with what the redirects that hold by all forces serve besides.

    redirects : (label of the main anchor's union, redirect), as kept by `climb_plan`.
    """
    named = {p.label: p.name for p in sorted((p for p in points if p.usable), key=lambda p: -p.rank)}
    out = {w.label: w for w in ways}
    place = dict(zip(work.label, work.xyz, strict=True))
    for label, r in redirects:
        if not r.margins.holds:
            continue
        low = min(r.margins.main, r.margins.redirect)
        for name in r.way.work:
            if out[name].how == NOT_REACHED:
                angle = float(rope_angles(r.way.place, place[name]))
                out[name] = WayToWork(name, REDIRECT, named[label], angle, low)
    return tuple(out[w.label] for w in ways)


def by_pole_saw(ways: Sequence[WayToWork], work: Work, reach: float) -> tuple[WayToWork, ...]:
    """The same ways, with what a pole saw of this reach [m] gets to from the nearest place reached otherwise. Twigs between
    are not looked at."""
    there = np.array([w.how != NOT_REACHED for w in ways])
    if not reach > 0 or not there.any() or there.all():
        return tuple(ways)
    rows = np.flatnonzero(there)
    away, near = cKDTree(work.xyz[rows]).query(work.xyz)
    return tuple(
        replace(w, how=POLE_SAW, by=ways[rows[near[i]]].by) if not there[i] and away[i] <= reach else w
        for i, w in enumerate(ways)
    )


def with_reasons(
    graph: WoodGraph,
    ways: Sequence[WayToWork],
    points: Sequence[TieInPoint],
    work: Work,
    settings: PlanningSettings,
) -> tuple[WayToWork, ...]:
    """The same ways; those not reached say why: an anchor that would reach it is refused (the one that comes nearest), its own
    angle ends before, a limb stands between, every rope is too flat, or it lies above every line that is offered."""
    usable = [p for p in points if p.usable]
    refused = [p for p in points if not p.usable and {g.code for g in p.gates} - NOT_THE_WOOD]
    refused.sort(key=lambda p: -np.nan_to_num(p.check.check.margin.p5, nan=-1.0))
    return tuple(
        replace(w, why=_why(graph, i, usable, refused, settings)) if w.how == NOT_REACHED else w
        for i, w in enumerate(ways)
    )


def _why(
    graph: WoodGraph,
    w: int,
    usable: Sequence[TieInPoint],
    refused: Sequence[TieInPoint],
    settings: PlanningSettings,
) -> Reason:
    """Of the work point in row `w`."""
    cone = [p for p in usable if p.reach.angle[w] <= settings.rope_angle_limit]
    clear = [p for p in cone if p.reach.fouled[w] < 0]
    if clear:
        best = max(clear, key=lambda p: p.check.within)
        return Reason(
            "left_beyond_angle", anchor=best.named, angle=float(best.reach.angle[w]), within=best.check.within
        )
    would = next((p for p in refused if p.reach.served[w]), None)
    if would is not None:
        low = would.check.check.margin.p5
        return Reason(
            "left_refused",
            anchor=would.named,
            low=float(low) if np.isfinite(low) else None,
            unseen=has(would.gates, *UNSEEN),
        )
    if cone:
        best = min(cone, key=lambda p: p.reach.angle[w])
        return Reason("left_fouled", anchor=best.named, limb=limb_named(graph, int(best.reach.fouled[w])))
    below = [p for p in usable if p.reach.angle[w] < 0.5 * np.pi]
    if below:
        best = min(below, key=lambda p: p.reach.angle[w])
        return Reason(
            "left_too_flat",
            anchor=best.named,
            angle=float(best.reach.angle[w]),
            asked=settings.rope_angle_limit,
        )
    return Reason("left_above") if usable else Reason("left_no_anchor")


LEFT = ("left_refused", "left_above", "left_too_flat", "left_fouled", "left_beyond_angle", "left_no_anchor")
"""Why work is left over, by its code."""


def left_over(ways: Sequence[WayToWork], work: Work, foot: np.ndarray) -> tuple[Reason, ...]:
    """The work left over in groups of one reason, the largest first: its share, and between which heights and at which
    distances from the stem's foot it lies.

    foot : (3,) float   Of the stem. [m, local]
    """
    total = float(work.weight.sum())
    out = []
    for code in LEFT:
        rows = np.array([w.why is not None and w.why.code == code for w in ways], bool)
        if not rows.any():
            continue
        height, away = work.xyz[rows, 2] - foot[2], np.hypot(*(work.xyz[rows, :2] - foot[:2]).T)
        names = [w.why["anchor"] for w in ways if w.why is not None and w.why.code == code == "left_refused"]
        most = max(names, key=names.count) if names else None
        out.append(
            Reason(
                "left_group",
                why=code,
                share=float(work.weight[rows].sum()) / total,
                low=float(height.min()),
                high=float(height.max()),
                near=float(away.min()),
                far=float(away.max()),
                most=most,
            )
        )
    return tuple(sorted(out, key=lambda r: -r["share"]))
