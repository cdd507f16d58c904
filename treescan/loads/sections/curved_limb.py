"""Which limbs are curved so strongly that a load may split them lengthwise before it breaks them?

A moment that straightens a bend pulls the fibres apart across the grain, most at the middle of the section:
sigma = 1.5 M / (R A) [curved_limb], R the radius of the bend. That is the form of a rectangle; a round has 4 / 3. In
bends tighter than 1.25 diameters the stress grows faster (Winkler's curved beam), so the 1.5 grows with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.wood.graph import Floats, Ints, WoodGraph

ARM = 2.0
"""How far to either side of a section its bend is measured, in diameters; half of it at a limb's ends (choice)."""

GENTLE = 20.0
"""Bends of a radius of more diameters than this break before they split: both strengths are met together at
R / d = 0.19 f / f_t, and that is below 20 for every wood of the table in stems up to 0.6 m (derived)."""

TIGHT = ((0.60, 0.70, 0.80, 0.90, 1.00, 1.10, 1.25), (3.06, 2.18, 1.87, 1.72, 1.62, 1.56, 1.50))
"""Radius over diameter, and sigma R A / M there (Winkler, derived)."""


@dataclass(frozen=True)
class Bends:
    """Sections where a limb is strongly curved.

    node : (b,) int32       Graph node of the section, in order.
    radius : (b,) float     Of the bend. [m]
    axis : (b, 3) float     Unit vector the bend turns about, outward along the limb: a moment against it straightens.
    """

    node: Ints
    radius: Floats
    axis: Floats


def bends(graph: WoodGraph) -> Bends:
    """All sections of the tree whose limb is curved to less than `GENTLE` diameters.

    Notes
    -----
    R is that of the circle through the section's lower end and the limb's axis `ARM` diameters to either side; where
    the limb begins or ends nearer than half of that, the bend is the union's or a tip's and is left out.
    """
    node, radius, axis = [], [], []
    for line in graph.limbs.nodes:
        own = np.asarray(line, np.int64)
        if len(own) < 3:
            continue
        first = int(graph.parent[own[0]])
        at = graph.xyz[own] if first < 0 else np.vstack([graph.xyz[first], graph.xyz[own]])
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(at, axis=0), axis=1))])
        here, section = along[:-1], own[len(own) - len(along) + 1 :]
        size = 2 * graph.segment_radius[section]
        arm = np.minimum(ARM * size, np.minimum(here, along[-1] - here))
        ok = np.isfinite(size) & (size > 0) & (arm >= 0.5 * ARM * size) & (arm > 0)
        if not ok.any():
            continue
        middle, reach = here[ok], arm[ok]
        before, after = (np.column_stack([np.interp(middle + s * reach, along, at[:, c]) for c in range(3)]) for s in (-1, 1))
        inward, outward = at[:-1][ok] - before, after - at[:-1][ok]
        turn = np.cross(inward, outward)
        twice = np.linalg.norm(turn, axis=1)  # twice the area of the triangle
        sides = np.linalg.norm(inward, axis=1) * np.linalg.norm(outward, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            r = sides * np.linalg.norm(after - before, axis=1) / (2 * twice)
        bent = r < GENTLE * size[ok]
        node.append(section[ok][bent])
        radius.append(r[bent])
        axis.append(turn[bent] / twice[bent, None])
    if not node:
        return Bends(np.zeros(0, np.int32), np.zeros(0), np.zeros((0, 3)))
    nodes = np.concatenate(node)
    order = np.argsort(nodes)
    return Bends(nodes[order].astype(np.int32), np.concatenate(radius)[order], np.concatenate(axis)[order])


def tension_across(moment: Floats, bend: Floats, radius: Floats) -> Floats:
    """Highest stress across the grain in curved round sections. [Pa]

    Parameters
    ----------
    moment : (...) float    That straightens the bend; below 0 it closes it, and pulls nothing apart. [N m]
    bend, radius : (...)    Radius of the bend and of the section. [m]

    >>> tension_across(np.array([1000.0, -1000.0]), np.array([0.5, 0.5]), np.array([0.05, 0.05])).round(-3).tolist()
    [382000.0, 0.0]
    """
    tight = np.interp(bend / (2 * radius), *TIGHT)
    within = np.maximum(bend, TIGHT[0][0] * 2 * radius)
    return np.asarray(tight * np.maximum(moment, 0.0) / (within * np.pi * radius**2), float)
