"""How many metres of rope, and what goes in the truck?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from treescan.loads.limb_check import AnchorConfiguration
from treescan.planning.candidates.contact import base_way, round_stem
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, RopePlan, TieInPoint
from treescan.reason import Reason
from treescan.throw.throw_path import Throw
from treescan.trees.beside import Beside
from treescan.wood.graph import WoodGraph

CHOKE_SPARE = 0.5
"""Of a sling choked round the stem, beyond once round it [m] (project choice)."""

STRAP_SPARE = 0.15
"""Of a friction saver's strap, beyond once round the stem [m] (project choice)."""

SLEEVE_SPARE = 0.3
"""Of a sleeve, beyond half-way round the limb [m] (project choice)."""

LIGHTEST_BAG = 0.28
"""Throw weights below this are not taken along [kg] (project choice: 10 oz)."""


def polyline_length(points: Floats) -> float:
    """Length of a polyline (k, 3). [m]"""
    return float(np.linalg.norm(np.diff(np.asarray(points, float).reshape(-1, 3), axis=0), axis=1).sum())


COMES_DOWN = 3.0
"""A climber comes down within this distance of the plumb line, wherever the ground is lowest [m] (project choice)."""

HARNESS = 1.0
"""The rope ends at the harness, so far above the ground the climber stands on [m] (project choice)."""

WAYS_DOWN = np.linspace(0.0, 2 * np.pi, 72, endpoint=False)
"""Directions in which the ground round the plumb line is read. [rad]"""

READ_EVERY = 0.25
"""Distances at which it is read. [m]"""


def rope_to_ground(graph: WoodGraph, beside: Beside, place: Floats) -> float:
    """Rope from where it bears down to the ground: plumb, or aslant to lower ground beside. [m]

    Notes
    -----
    The longest of z - g(0), over the ground plumb below, and sqrt(r^2 + (z - g)^2) - 1, over all ground within 3 m of the plumb
    line, where the climber's harness is 1 m above it: on level ground the first for every anchor higher than 5 m. Ground that
    was not seen counts as the lowest of what was seen there and of the stem's foot.
    """
    r = np.arange(READ_EVERY, COMES_DOWN + READ_EVERY / 2, READ_EVERY)
    off = (r[:, None, None] * np.stack([np.cos(WAYS_DOWN), np.sin(WAYS_DOWN)], -1)).reshape(-1, 2)
    at = np.vstack([np.zeros(2), off])
    ground = beside.terrain.height_at(np.asarray(place, float)[:2] + at)
    ground = np.where(np.isfinite(ground), ground, np.nanmin([*ground, float(graph.xyz[0, 2])]))
    down = float(place[2]) - ground
    aslant = np.hypot(np.linalg.norm(at, axis=1), np.maximum(down, 0.0)) - HARNESS
    return max(float(down[0]), float(aslant.max()), 0.0)


def rope_parts(
    system: str, height: float, farthest: float, base_leg: float, settings: PlanningSettings
) -> tuple[tuple[str, float], ...]:
    """Metres of climbing rope, part by part.

    Parameters
    ----------
    height : float      Rope from the tie-in point down to the ground. [m]
    farthest : float    Straight rope to the farthest served work. [m]
    base_leg : float    Rope from the tie-in point over its other supports to the base anchor. [m]

    Notes
    -----
    The leg must let the climber reach both the ground and the farthest work: d = max(height, farthest).

    - MRS: 2 d + tail.
    - SRS canopy: d + tail at the ground + tail at the choke, and a retrieval leg of one height.
    - SRS basal: d + base leg + two tails, and one height more so that it can be lowered from the ground.
    """
    reach = max(height, farthest)
    if system == "MRS":
        return (("two legs", 2 * reach), ("tail", settings.tail))
    if system == "SRS canopy":
        return (
            ("climbing leg", reach),
            ("tail", settings.tail),
            ("knot or choke", settings.canopy_tail),
            ("retrieval leg", height),
        )
    return (
        ("climbing leg", reach),
        ("base leg", base_leg),
        ("tails", 2 * settings.tail),
        ("lowering", height),
    )


def rope_plan(
    graph: WoodGraph,
    beside: Beside,
    configuration: AnchorConfiguration,
    throw: Throw | None,
    place: Floats,
    farthest: float,
    settings: PlanningSettings,
) -> RopePlan:
    """Rope, throwline and kit of one candidate.

    Parameters
    ----------
    place : (3,) float      Where the rope bears. [m, local]
    farthest : float        Straight rope to the farthest served work; 0 when there is none. [m]
    """
    height = rope_to_ground(graph, beside, place)
    base_leg = polyline_length(base_way(graph, configuration)) if configuration.system == "SRS basal" else 0.0
    parts = rope_parts(configuration.system, height, farthest, base_leg, settings)
    length = sum(m for _, m in parts)
    fitting = [s for s in sorted(settings.stock_lengths) if s >= length]
    throwline = polyline_length(throw.settled) + settings.throwline_spare if throw is not None else 0.0
    return RopePlan(
        length=length,
        throwline=throwline,
        parts=parts,
        stock=fitting[0] if fitting else float("nan"),
        reaches_ground=bool(fitting),
        kit=kit_list(graph, configuration, throw, length, fitting[0] if fitting else None, throwline),
    )


def kit_list(
    graph: WoodGraph,
    configuration: AnchorConfiguration,
    throw: Throw | None,
    length: float,
    stock: float | None,
    throwline: float,
) -> tuple[Reason, ...]:
    """What to load for one candidate, in generic names: the climbing rope first, then item by item.

    length : climbing rope needed [m]; stock : the stocked length that is enough, None = none is [m];
    throwline : [m]
    """
    rope = (
        Reason("kit_rope", stock=stock, length=length)
        if stock
        else Reason("kit_rope_too_short", length=length)
    )
    return (
        rope,
        Reason("kit_climber"),
        *_between_rope_and_wood(graph, configuration),
        *(
            (Reason("kit_base_anchor", to=configuration.tied_to),)
            if configuration.system == "SRS basal"
            else ()
        ),
        *((Reason("kit_choke"),) if configuration.system == "SRS canopy" else ()),
        *(_to_throw(throw, throwline) if throw is not None else ()),
        Reason("kit_rescue"),
        Reason("kit_load_test"),
    )


def _between_rope_and_wood(graph: WoodGraph, configuration: AnchorConfiguration) -> tuple[Reason, ...]:
    stem = 2 * float(graph.segment_radius[int(graph.unions.node[configuration.union])])
    limb = 2 * float(graph.segment_radius[configuration.rest_node])
    hardware = configuration.hardware
    if round_stem(graph, configuration) and configuration.system == "SRS canopy":
        return (Reason("kit_stem_choke", diameter=stem, length=np.pi * stem + CHOKE_SPARE),)
    if hardware in {"ring", "pulley"}:
        return (
            Reason("kit_friction_saver", hardware=hardware, length=np.pi * stem + STRAP_SPARE, diameter=stem),
        )
    if hardware == "sleeve":
        return (Reason("kit_sleeve", length=np.pi * limb / 2 + SLEEVE_SPARE, diameter=limb),)
    return (Reason("kit_sleeve_advised"),) if configuration.system == "MRS" else ()


def _to_throw(throw: Throw, throwline: float) -> tuple[Reason, ...]:
    line = Reason("kit_throwline", length=throwline, mass=max(LIGHTEST_BAG, throw.min_weight))
    return (line, Reason("kit_launcher")) if throw.method == "launcher" else (line,)


def kit_of_all(points: Sequence[TieInPoint]) -> tuple[Reason, ...]:
    """What to load for several tie-in points together: every rope by its length, the longest throwline with
    the heaviest of the least throw weights once, everything else once."""
    if not points:
        return ()
    ropes = tuple(
        Reason("kit_rope_of", stock=p.rope.stock, anchor=p.named)
        if np.isfinite(p.rope.stock)
        else Reason("kit_rope_of_over", length=p.rope.length, anchor=p.named)
        for p in points
    )
    items = [item for p in points for item in p.rope.kit[1:]]
    masses = [item["mass"] for item in items if item.code == "kit_throwline"]
    longest = max(p.rope.throwline for p in points)
    line = Reason("kit_throwline", length=longest, mass=max(masses)) if masses else None
    shared = dict.fromkeys(
        line if line is not None and item.code == "kit_throwline" else item for item in items
    )
    return Reason("kit_ropes", ropes=ropes), *shared
