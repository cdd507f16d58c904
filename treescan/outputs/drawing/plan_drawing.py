"""The plan: crown and ground from above, north up, with standing places, the chance from each, and what the user drew."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Ints
from treescan.assess import Assessment
from treescan.geometry import drawn_rings
from treescan.outputs.drawing.svg import LABEL_SIZE, Drawing
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.tubes import runs
from treescan.outputs.text.say import figure, text
from treescan.planning.climb.wire_lines import wire_lines
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason
from treescan.trees.beside import KINDS, Surroundings, as_said

Floats = NDArray[np.float64]
Paper = Callable[[Floats], Floats]
WIDE, EDGE = 560.0, 26.0
LINES = {1: "line_isolated_article", 2: "line_isolable_article", 3: "line_several_article"}
"""Isolation class to the words for its line inside a sentence."""
MOST_LIMBS = 260
RING = 5
"""Between the rings round the stem. [m]"""
KNEE = 0.5
"""Things lower than this above the ground are grass, roots and stones: not drawn. [m]"""


def chance_colour(share: float) -> str:
    """From pale to deep blue; `share` of the best place's chance."""
    k = float(np.sqrt(np.clip(share, 0, 1)))
    return f"#{round(226 - 197 * k):02x}{round(220 - 128 * k):02x}{round(206 - 63 * k):02x}"


def plan(a: Assessment, p: TieInPoint | None, print_size: float = LABEL_SIZE) -> tuple[Drawing, str]:
    """The drawing and its caption; `print_size` of its labels, in drawing units."""
    base, half = a.tree.graph.xyz[0], _half_width(a)
    scale = (WIDE - 2 * EDGE) / (2 * half)
    d = Drawing(WIDE, WIDE, text("draw_plan"), print_size)

    def paper(xyz: Floats) -> Floats:
        q = np.asarray(xyz, float)[..., :2] - base[:2]
        return np.stack([q[..., 0] * scale + WIDE / 2, WIDE / 2 - q[..., 1] * scale], axis=-1)

    for r in _rings(half):
        d.circle(WIDE / 2, WIDE / 2, r * scale, "ring")
    d.keep_clear(WIDE - 30, 44, 34)
    d.keep_clear(EDGE + RING * scale / 2, WIDE - 12, RING * scale / 2 + 60)
    _drawn(d, a, paper)
    _neighbours(d, a, paper, scale, half)
    top = _places(d, a, p, paper, scale)
    _limbs(d, a, paper, scale)
    _drawn_points(d, a, paper)
    if p is not None:
        _stand_clear(d, p, paper, scale)
        _throw(d, a, p, paper)
    _ring_labels(d, half, scale)
    _north_and_scale(d, scale)
    return d, _caption(a, p, top)


def _caption(a: Assessment, p: TieInPoint | None, top: float) -> str:
    """What rings, circles and dashes mean; `top` the best chance shown."""
    test = p.load_test if p is not None else None
    tested, clear = (p.label, test.clear_radius) if p is not None and test is not None else (None, None)
    rings = Reason("draw_plan_caption", ring=float(RING), tested=tested, clear=clear)
    t = None if p is None else first_line(a, p)
    if t is None:
        return text("draw_plan_places", rings=rings)
    union, near = a.tree.graph.unions.label[t.union], a.settings.throw.near_thrower
    return text(
        "draw_plan_chances", rings=rings, line=LINES[t.isolation_class], union=union, top=top, near=near
    )


def _half_width(a: Assessment) -> float:
    """Enough for crown and standing places, between 8 and 32 m."""
    base = a.tree.graph.xyz[0, :2]
    spread = [np.abs(a.tree.graph.xyz[:, :2] - base).max()]
    if len(a.throws.stances):
        spread.append(np.percentile(np.abs(a.throws.stances.xyz[:, :2] - base).max(axis=1), 98))
    spread += [np.abs(place[:2] - base).max() + 1.0 for _, place in (*a.site.anchors, *a.site.bases)]
    return float(np.clip(max(spread) + 1.5, 8.0, 32.0))


def _rings(half: float) -> range:
    """Radii of the rings round the stem. [m]"""
    return range(RING, int(half) + 1, RING)


def _ring_labels(d: Drawing, half: float, scale: float) -> None:
    """How far out each ring lies, where nothing else is written."""
    for r in _rings(half):
        d.label(WIDE / 2, WIDE / 2 - r * scale - 8, figure(float(r), "m_first0"), "t small faint halo-text", 3)


def _drawn(d: Drawing, a: Assessment, paper: Paper) -> None:
    """What the user drew on the site plan."""
    looks = {
        "building": ("building", "draw_building"),
        "road": ("road", "draw_road"),
        "water": ("water", "draw_water"),
        "no_stand_area": ("nostand", "draw_no_stand"),
    }
    for area in a.site.areas():
        css, code = looks[area.kind]
        d.shape([paper(ring) for ring in drawn_rings(area.ring)], css, closed=True)
        x, y = paper(area.ring).mean(axis=0)
        if 0 < x < WIDE and 0 < y < WIDE:
            d.label(x, y, area.name or text(code), "t small", 0)
    for c in a.site.conductors:
        xy = paper(c.line)
        d.line(xy, "wire")
        x, y = np.clip(xy.mean(axis=0), 30, WIDE - 30)
        words = text("draw_wire", voltage=c.voltage, known=bool(np.isfinite(c.voltage)))
        d.label(x, y - 12, f"{words} “{c.name}”" if c.name else words, "t small strong halo-text", 0, must=True)


def _drawn_points(d: Drawing, a: Assessment, paper: Paper) -> None:
    """Anchors in other trees and bases of basal lines, over everything else."""
    for code, points in (("draw_other_anchor", a.site.anchors), ("draw_other_base", a.site.bases)):
        for name, place in points:
            x, y = paper(place)
            if 0 < x < WIDE and 0 < y < WIDE:
                words = text(code, name=name)
                d.circle(x, y, 5.0, "anchor", text("draw_by_user", what=words))
                d.label(x, y, words, "t small strong halo-text", 9)


def _neighbours(d: Drawing, a: Assessment, paper: Paper, scale: float, half: float) -> None:
    s = as_said(a.tree.beside, a.site).surroundings
    near = (
        np.abs(s.xyz[:, :2] - a.tree.graph.xyz[0, :2]).max(axis=1) < half if len(s.xyz) else np.zeros(0, bool)
    )
    near &= s.xyz[:, 2] > np.nan_to_num(a.tree.beside.terrain.height_at(s.xyz[:, :2]), nan=-np.inf) + KNEE
    near[_seen_wires(d, a, s, np.flatnonzero(near), paper)] = False
    cells = np.unique(np.floor(s.xyz[near][:, :2] / 0.5), axis=0) * 0.5 + 0.25
    step = max(1, len(cells) // 1200)
    if len(cells):
        size = 0.5 * scale
        square = size * np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
        d.shape([xy + square for xy in paper(cells[::step])], "around", closed=True, tip=text("draw_around"))
    for foot, dbh in zip(s.stems, s.stem_dbh, strict=True):
        x, y = paper(foot)
        if 0 < x < WIDE and 0 < y < WIDE:
            d.circle(
                x,
                y,
                max(3.0, scale * (dbh if np.isfinite(dbh) else 0.3) / 2),
                "neighbour",
                text("draw_neighbour"),
            )


def _seen_wires(d: Drawing, a: Assessment, s: Surroundings, near: Ints, paper: Paper) -> Ints:
    """Wires the scan saw among the things `near` (rows), each one dashed line also where it was not seen; returns their rows."""
    rows = near[s.kind[near] == KINDS.index("wire")]
    drawn = [np.zeros(0, int)]
    for wire in wire_lines(s.xyz[rows]):
        drawn.append(rows[wire.places])
        d.shape([paper(wire.ends)], "wire-seen", tip=text("draw_wire_seen_tip", gap=wire.gap))
        volts = a.site.wire_volts(s.xyz[drawn[-1]])
        known = volts[np.isfinite(volts)]
        x, y = np.clip(paper(wire.ends).mean(axis=0), 30, WIDE - 30)
        words = text("draw_wire_seen", gap=wire.gap, voltage=float(known.max()) if len(known) else None)
        d.label(x, y - 12, words, "t small strong halo-text", 0, must=True)
    return np.concatenate(drawn)


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
            d.circle(x, y, 2.0 + 4.5 * np.sqrt(share), "place", figure(c, "%"), chance_colour(share))
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
    d.shape([ring[first:end] for first, end in edge.reshape(-1, 2)], "clear", tip=text("draw_clear"))


def _throw(d: Drawing, a: Assessment, p: TieInPoint, paper: Paper) -> None:
    x, y = paper(a.tree.graph.unions.rope_place(p.union))
    d.keep_clear(x, y, 7)
    t = first_line(a, p)
    if t is not None:
        flight = paper(t.path)
        d.line(flight, "halo throw-halo")
        d.line(flight, "throw")
        sx, sy = paper(t.stand)
        d.circle(sx, sy, 6, "stand", text("draw_stand_tip"))
        d.label(sx, sy, text("draw_stand"), "t strong halo-text", 11)
    if t is not None and t.union != p.union:
        fx, fy = paper(a.tree.graph.unions.rope_place(t.union))
        d.circle(fx, fy, 4.5, "catch", text("draw_first_line_tip"))
        d.label(fx, fy, text("draw_first_line", union=a.tree.graph.unions.label[t.union]), "t small halo-text")
    d.circle(x, y, 6, "anchor", p.label)
    d.label(x, y, p.label, "t strong halo-text", 11)


def _north_and_scale(d: Drawing, scale: float) -> None:
    d.line(np.array([[0.0, 0], [7, 18], [0, 13], [-7, 18]]) + np.array([WIDE - 30, 44]), "north", closed=True)
    d.text(WIDE - 30, 38, text("draw_north"), "t strong", "middle")
    y = WIDE - 12
    d.line(np.array([[EDGE, y], [EDGE + RING * scale, y]]), "scalebar")
    d.text(EDGE + RING * scale + 8, y + 4, figure(RING, "m_first0"), "t small")
