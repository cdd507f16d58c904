"""Tree, foliage and street together: what an instrument can hit, and the truth of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from second_bench import street
from second_bench.axis import Limb
from second_bench.bark import BARKS, dressed
from second_bench.extras import with_extras
from second_bench.foliage import ivy, joined, leaves, needles
from second_bench.forms import FORMS
from second_bench.growth import grow
from second_bench.skin import skin
from second_bench.street import Body, Wire
from second_bench.truth import TreeTruth, truth_of


@dataclass(frozen=True)
class Scene:
    """Bodies to shoot at, the tree's limbs and rings, its truth, true wires, reach [m] and slope of the
    ground.
    """

    bodies: tuple[Body, ...]
    limbs: tuple[Limb, ...]
    rings: list[np.ndarray]
    truth: TreeTruth
    wires: tuple[Wire, ...]
    spread: float
    slope: tuple[float, float]


PLACES = (
    "meadow",
    "lamp",
    "bare wires",
    "bundled wire",
    "slack wire",
    "wire through the crown",
    "fence",
    "wall",
    "neighbours",
    "street",
)


def tree_bodies(limbs, rings):
    """Wood and lianas of a dressed tree."""
    parts = {False: [], True: []}
    owners = {False: [], True: []}
    for i, (m, r) in enumerate(zip(limbs, rings, strict=True)):
        pair = skin(m, r)
        parts[m.kind == "liana"].append(pair)
        owners[m.kind == "liana"].append(np.full(len(pair[1]), i))
    return [
        Body(*joined(parts[k]), street.LIANA if k else street.WOOD, np.concatenate(owners[k]))
        for k in (False, True)
        if parts[k]
    ]


def make_scene(
    rng,
    form="open-grown",
    bark="furrowed",
    place="meadow",
    season="bare",
    slope_deg=0.0,
    stubs=0,
    sprouts=0,
    lianas=0,
    ivy_to=0.0,
) -> Scene:
    """A scene drawn from a few words."""
    azimuth = rng.uniform(0, 2 * np.pi)
    slope = (
        float(np.tan(np.deg2rad(slope_deg)) * np.cos(azimuth)),
        float(np.tan(np.deg2rad(slope_deg)) * np.sin(azimuth)),
    )
    limbs = with_extras(grow(FORMS[form], rng, slope), rng, stubs, sprouts, lianas)
    rings = dressed(limbs, BARKS[bark], rng, slope)
    truth = truth_of(limbs, rings, slope)
    out = float(np.percentile(np.hypot(truth.axis[:, 0], truth.axis[:, 1]), 99.5))
    bodies = tree_bodies(limbs, rings)
    if season != "bare":
        area = np.pi * out**2 * rng.uniform(1.6, 3.0)
        grown = needles(limbs, rng, area) if season == "needles" else leaves(limbs, rng, area)
        bodies.append(street.body(grown, street.LEAF))
    if ivy_to > 0:
        bodies.append(street.body(ivy(limbs, rings, rng, ivy_to), street.IVY))
    spread = out + 6.0
    bodies.append(street.ground(slope, spread + 14.0, rng))
    wires: list[Wire] = []
    if form == "hedge-bound":
        a = rng.uniform(0, np.pi)
        way = 3.5 * np.array([np.cos(a), np.sin(a)])
        bodies.append(street.hedge(-way, way, rng.uniform(0.8, 1.2), rng.uniform(1.3, 2.0), slope, rng))
    more, wires = furnished(place, rng, slope, out, truth, season)
    return Scene(tuple(bodies + more), limbs, rings, truth, tuple(wires), spread, slope)


def furnished(place, rng, slope, out, truth, season):
    """Bodies and wires of the street around a tree with a crown `out` wide."""
    a = rng.uniform(0, 2 * np.pi)
    away, line = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    ground = np.asarray(slope)
    bodies, wires = [], []

    def foot(xy):
        return np.array([*xy, xy @ ground])

    if place in ("lamp", "street"):
        at = away * (out + rng.uniform(0.5, 2.5)) + line * rng.uniform(-2, 2)
        bodies.append(street.lamp(foot(at), rng.uniform(5, 8), -away))
    if "wire" in place or place == "street":
        near = 0.25 * out if "through" in place else out + rng.uniform(0.6, 3.5)
        height = float(np.clip(truth.height * rng.uniform(0.45, 0.65), 5.5, 9.5))
        ends = [away * near + s * line * rng.uniform(13, 17) for s in (-1, 1)]
        poles = [street.cross_armed(foot(e), height, line) for e in ends]
        bodies += [p for p, _ in poles]
        ties = [t for _, t in poles]
        kind = {"bundled wire": "bundled", "slack wire": "slack"}.get(place, "bare")
        pairs = (
            list(zip(*ties, strict=True))
            if kind == "bare" and "through" not in place
            else [(ties[0][1], ties[1][1])]
        )
        for p, q in pairs:
            sag = rng.uniform(1.2, 2.2) if kind == "slack" else rng.uniform(0.15, 0.6)
            radius = {"bare": 0.006, "bundled": 0.018, "slack": 0.009}[kind]
            wires.append(
                Wire(street.sagging(p, q, sag), radius, "through the crown" if "through" in place else kind)
            )
    if place in ("fence", "street"):
        side = away if place == "fence" else -away
        middle = side * rng.uniform(1.0, 2.5)
        bodies.append(
            street.fence(middle - 7 * line, middle + 7 * line, slope, str(rng.choice(["rails", "strands"])))
        )
    if place == "wall":
        x = out * rng.uniform(0.7, 1.0) + 0.5
        s = np.sign(rng.normal())
        low, high = sorted((s * x, s * (x + 5.0)))
        bodies.append(street.wall((low, -7), (high, 7), -3.0, rng.uniform(2.2, 6.0)))
    if place == "neighbours":
        for k in range(2):
            at = np.array([np.cos(a + 2.2 * k), np.sin(a + 2.2 * k)]) * (1.5 * out + rng.uniform(0.5, 2.0))
            other = grow(FORMS["hedge-bound"], rng, (0.0, 0.0))
            rings = dressed(other, BARKS["smooth"], rng)
            for b in tree_bodies(other, rings):
                bodies.append(
                    Body(b.corners + foot(at), b.triangles, street.NEIGHBOUR, np.zeros(len(b.triangles), int))
                )
            if season == "leaf":
                c, t = leaves(other, rng, 60.0)
                bodies.append(street.body((c + foot(at), t), street.NEIGHBOUR))
    owned = [Body(*street.tube(w.points, w.radius, 6), street.WIRE, np.zeros(0, int)) for w in wires]
    bodies += [
        Body(b.corners, b.triangles, b.kind, np.full(len(b.triangles), i)) for i, b in enumerate(owned)
    ]
    return bodies, wires
