"""The plan: crown and ground from above, north up, with standing places, the chance from each, and what the user drew."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.tubes import runs
from treescan.outputs.text import wording
from treescan.planning.tie_in_point import TieInPoint

Floats = NDArray[np.float64]
Paper = Callable[[Floats], Floats]
WIDE, EDGE = 560.0, 26.0
MOST_LIMBS = 260
KNEE = 0.5
"""Things lower than this above the ground are grass, roots and stones: not drawn. [m]"""


def chance_colour(share: float) -> str:
    """From pale to deep blue; `share` of the best place's chance."""
    k = float(np.sqrt(np.clip(share, 0, 1)))
    return f"#{round(226 - 197 * k):02x}{round(220 - 128 * k):02x}{round(206 - 63 * k):02x}"


def plan(a: Assessment, p: TieInPoint | None) -> tuple[Drawing, str]:
    """The drawing and its caption."""
    base, half = a.tree.graph.xyz[0], _half_width(a)
    scale = (WIDE - 2 * EDGE) / (2 * half)
    d = Drawing(WIDE, WIDE, "Plan of the tree, north up, with standing places")

    def paper(xyz: Floats) -> Floats:
        q = np.asarray(xyz, float)[..., :2] - base[:2]
        return np.stack([q[..., 0] * scale + WIDE / 2, WIDE / 2 - q[..., 1] * scale], axis=-1)

    _rings(d, half, scale)
    _drawn(d, a, paper)
    _neighbours(d, a, paper, scale, half)
    top = _places(d, a, p, paper, scale)
    _limbs(d, a, paper, scale)
    _drawn_points(d, a, paper)
    if p is not None:
        _stand_clear(d, p, paper, scale)
        _throw(d, a, p, paper)
    _north_and_scale(d, scale)
    words = "North up; rings every 5 m (16 ft) from the stem. "
    if p is not None and p.load_test is not None:
        words += f"Dashed: stand clear of it while {p.label} is load-tested, {wording.metres(p.load_test.clear_radius, 0)} round its plumb. "
    t = None if p is None else first_line(a, p)
    if t is None:
        return d, words + "Small circles are standing places found on the ground."
    best = (
        f"Darker and larger circles: better chance of {wording.CLASS_ARTICLE[t.isolation_class]} over {a.tree.graph.unions.label[t.union]} with the best aim from "
        f"there; {wording.percent(top)} at most. A bag that comes down within {wording.metres(a.settings.throw.near_thrower, 0)} of the thrower counts for less."
    )
    return d, words + best


def _half_width(a: Assessment) -> float:
    """Enough for crown and standing places, between 8 and 32 m."""
    base = a.tree.graph.xyz[0, :2]
    spread = [np.abs(a.tree.graph.xyz[:, :2] - base).max()]
    if len(a.throws.stances):
        spread.append(np.percentile(np.abs(a.throws.stances.xyz[:, :2] - base).max(axis=1), 98))
    spread += [np.abs(place[:2] - base).max() + 1.0 for _, place in (*a.site.anchors, *a.site.bases)]
    return float(np.clip(max(spread) + 1.5, 8.0, 32.0))


def _rings(d: Drawing, half: float, scale: float) -> None:
    for r in range(5, int(half) + 1, 5):
        d.circle(WIDE / 2, WIDE / 2, r * scale, "ring")
        d.text(WIDE / 2 + 3, WIDE / 2 - r * scale - 3, f"{r} m", "t small faint")


def _drawn(d: Drawing, a: Assessment, paper: Paper) -> None:
    """What the user drew on the site plan."""
    for css, words, polygons in (
        ("building", "building", a.site.buildings),
        ("road", "road", a.site.roads),
        ("water", "water", a.site.water),
        ("nostand", "no standing", a.site.no_stand),
    ):
        for ring in polygons:
            xy = paper(ring)
            d.line(xy, css, closed=True)
            x, y = xy.mean(axis=0)
            if 0 < x < WIDE and 0 < y < WIDE:
                d.text(x, y + 4, words, "t small", "middle")
    for c in a.site.conductors:
        xy = paper(c.line)
        d.line(xy, "wire")
        x, y = np.clip(xy.mean(axis=0), 30, WIDE - 30)
        volts = f"{c.voltage:.0f} V" if np.isfinite(c.voltage) else "voltage unknown"
        d.text(x, y - 12, f"overhead line, {volts}: treat as live", "t small strong halo-text", "middle")


def _drawn_points(d: Drawing, a: Assessment, paper: Paper) -> None:
    """Anchors in other trees and bases of basal lines, over everything else."""
    for what, points in (("anchor in", a.site.anchors), ("base at", a.site.bases)):
        for name, place in points:
            x, y = paper(place)
            if 0 < x < WIDE and 0 < y < WIDE:
                d.circle(x, y, 5.0, "anchor", f"{what} {name}, drawn by the user")
                d.text(min(max(x, 40.0), WIDE - 40.0), y - 9, f"{what} {name}", "t small strong halo-text", "middle")


def _neighbours(d: Drawing, a: Assessment, paper: Paper, scale: float, half: float) -> None:
    s = a.tree.beside.surroundings
    near = np.abs(s.xyz[:, :2] - a.tree.graph.xyz[0, :2]).max(axis=1) < half if len(s.xyz) else np.zeros(0, bool)
    near &= s.xyz[:, 2] > np.nan_to_num(a.tree.beside.terrain.height_at(s.xyz[:, :2]), nan=-np.inf) + KNEE
    cells = np.unique(np.floor(s.xyz[near][:, :2] / 0.5), axis=0) * 0.5 + 0.25
    step = max(1, len(cells) // 1200)
    if len(cells):
        size = 0.5 * scale
        square = size * np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
        d.shape([xy + square for xy in paper(cells[::step])], "around", closed=True, tip="seen by the scan, not wood of this tree")
    for foot, dbh in zip(s.stems, s.stem_dbh, strict=True):
        x, y = paper(foot)
        if 0 < x < WIDE and 0 < y < WIDE:
            d.circle(x, y, max(3.0, scale * (dbh if np.isfinite(dbh) else 0.3) / 2), "neighbour", "stem of a neighbouring tree")


def _places(d: Drawing, a: Assessment, p: TieInPoint | None, paper: Paper, scale: float) -> float:
    """Standing places by chance; returns the best chance shown."""
    stances = a.throws.stances
    if not len(stances):
        return 0.0
    chance = np.zeros(len(stances))
    t = None if p is None else first_line(a, p)
    if t is not None:
        chance = np.asarray(a.throws.chance, float)[t.union, :, min(max(t.isolation_class, 1), 3) - 1]
    top = float(chance.max())
    for (x, y), c in zip(paper(stances.xyz), chance, strict=True):
        if top > 0 and c > 0:
            share = c / top
            d.circle(x, y, 2.0 + 4.5 * np.sqrt(share), "place", wording.percent(c), chance_colour(share))
        else:
            d.circle(x, y, 1.4, "place none")
    return top


def _limbs(d: Drawing, a: Assessment, paper: Paper, scale: float) -> None:
    kept = sorted(runs(a.tree.graph), key=lambda r: -float(r.radius.max()))[:MOST_LIMBS]
    for run in kept:
        width = float(np.clip(1.6 * scale * run.radius.mean(), 0.5, 14.0))
        d.line(paper(run.line[:: max(1, len(run.line) // 16)]), "limb", width=width)


def _stand_clear(d: Drawing, p: TieInPoint, paper: Paper, scale: float) -> None:
    """The circle nobody stands in during the load test, as much of it as lies on the drawing."""
    if p.load_test is None:
        return
    centre, radius = paper(p.load_test.clear_centre), p.load_test.clear_radius * scale
    turn = np.linspace(0.0, 2 * np.pi, 241)
    ring = centre + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    inside = ((ring > 2.0) & (ring < WIDE - 2.0)).all(axis=1)
    edge = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    d.shape([ring[first:end] for first, end in edge.reshape(-1, 2)], "clear", tip="stand clear of the load test")


def _throw(d: Drawing, a: Assessment, p: TieInPoint, paper: Paper) -> None:
    x, y = paper(a.tree.graph.unions.place[p.union])
    t = first_line(a, p)
    if t is not None:
        flight = paper(t.path)
        d.line(flight, "halo throw-halo")
        d.line(flight, "throw")
        sx, sy = paper(t.stand)
        d.circle(sx, sy, 6, "stand", "standing place of the throw")
        d.text(sx + 9, sy + 4, "stand", "t strong halo-text")
    if t is not None and t.union != p.union:
        fx, fy = paper(a.tree.graph.unions.place[t.union])
        d.circle(fx, fy, 4.5, "catch", "first line")
        d.text(fx - 8, fy + 16, f"{a.tree.graph.unions.label[t.union]}, first line", "t small halo-text", "end")
    d.circle(x, y, 6, "anchor", p.label)
    d.text(x + 9, y - 7, p.label, "t strong halo-text")


def _north_and_scale(d: Drawing, scale: float) -> None:
    d.line(np.array([[0.0, 0], [7, 18], [0, 13], [-7, 18]]) + np.array([WIDE - 30, 44]), "north", closed=True)
    d.text(WIDE - 30, 38, "N", "t strong", "middle")
    y = WIDE - 12
    d.line(np.array([[EDGE, y], [EDGE + 5 * scale, y]]), "scalebar")
    d.text(EDGE + 5 * scale + 8, y + 4, "5 m (16.4 ft)", "t small")
