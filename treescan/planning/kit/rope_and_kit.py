"""How many metres of rope, and what goes in the truck?"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from treescan.loads.limb_check import AnchorConfiguration
from treescan.planning.candidates.contact import base_way, round_stem
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, RopePlan, TieInPoint
from treescan.throw.throw_path import Throw
from treescan.trees.beside import Beside
from treescan.wood.graph import WoodGraph


def polyline_length(points: Floats) -> float:
    """Length of a polyline (k, 3). [m]"""
    return float(np.linalg.norm(np.diff(np.asarray(points, float).reshape(-1, 3), axis=0), axis=1).sum())


def ground_at(graph: WoodGraph, beside: Beside, place: Floats) -> float:
    """Ground height below a place, that of the stem's foot where unseen. [m]"""
    z = float(beside.terrain.height_at(np.asarray(place)[:2]))
    return z if np.isfinite(z) else float(graph.xyz[0, 2])


def rope_parts(system: str, height: float, farthest: float, base_leg: float, settings: PlanningSettings) -> tuple[tuple[str, float], ...]:
    """Metres of climbing rope, part by part.

    Parameters
    ----------
    height : float      Of the tie-in point above the ground below it. [m]
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
    return (("climbing leg", reach), ("base leg", base_leg), ("tails", 2 * settings.tail), ("lowering", height))


def rope_plan(
    graph: WoodGraph, beside: Beside, configuration: AnchorConfiguration, throw: Throw | None, place: Floats, farthest: float, settings: PlanningSettings
) -> RopePlan:
    """Rope, throwline and kit of one candidate.

    Parameters
    ----------
    place : (3,) float      Where the rope bears. [m, local]
    farthest : float        Straight rope to the farthest served work; 0 when there is none. [m]
    """
    height = max(float(place[2]) - ground_at(graph, beside, place), 0.0)
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


def kit_list(graph: WoodGraph, configuration: AnchorConfiguration, throw: Throw | None, length: float, stock: float | None, throwline: float) -> tuple[str, ...]:
    """What to load for one candidate, in generic names."""
    stem = 2 * float(graph.segment_radius[int(graph.unions.node[configuration.union])])
    limb = 2 * float(graph.segment_radius[configuration.rest_node])
    rope = (
        f"climbing rope {stock:.0f} m ({length:.1f} m needed)"
        if stock
        else f"two climbing ropes joined or a longer one: {length:.1f} m needed, no stocked length is enough"
    )
    out = [rope, "harness, helmet, two lanyards, friction hitch or mechanical rope device"]
    if round_stem(graph, configuration) and configuration.system == "SRS canopy":
        out.append(f"sling or rope choked round the stem of {100 * stem:.0f} cm, just above the limbs, at least {np.pi * stem + 0.5:.2f} m of it")
    elif configuration.hardware == "ring":
        out.append(f"ring friction saver, strap at least {np.pi * stem + 0.15:.2f} m to go round a stem of {100 * stem:.0f} cm")
    elif configuration.hardware == "pulley":
        out.append(f"pulley friction saver, strap at least {np.pi * stem + 0.15:.2f} m to go round a stem of {100 * stem:.0f} cm")
    elif configuration.hardware == "sleeve":
        out.append(f"rope sleeve at least {np.pi * limb / 2 + 0.3:.2f} m long for a limb of {100 * limb:.0f} cm")
    elif configuration.system == "MRS":
        out.append("sleeve or friction saver advised: a moving rope on bark wears the tree and the rope")
    if configuration.system == "SRS basal":
        to = configuration.tied_to or "the stem foot"
        out.append(f"base anchor kit: sling for {to} and a device that lowers under load, marked 'life support, do not touch'")
    if configuration.system == "SRS canopy":
        out.append("screw karabiner or ring for the choke, retrieval line")
    if throw is not None:
        lightest = max(0.28, throw.min_weight)
        out.append(f"throwline {throwline:.0f} m, throw weights of {1000 * lightest:.0f} g and heavier")
        if throw.method == "launcher":
            out.append("throwline launcher, eye protection, people kept from under the arc")
    out += [
        "second rope with its own access for the rescuer, rescue kit, first-aid kit with bleeding control",
        "load-test kit: hand-pull tackle or three people on the rope",
    ]
    return tuple(out)


def kit_of_all(points: Sequence[TieInPoint]) -> tuple[str, ...]:
    """What to load for several tie-in points together: every rope by its length, the longest throwline once, everything else once."""
    if not points:
        return ()
    ropes = ", ".join(
        f"{p.rope.stock:.0f} m ({p.label} {p.system})" if np.isfinite(p.rope.stock) else f"over {p.rope.length:.0f} m ({p.label} {p.system})"
        for p in points
    )
    out = [f"climbing ropes, one a tie-in point or the longest used in turn: {ropes}"]
    longest = max((p.rope.throwline for p in points), default=0.0)
    for p in points:
        lines = [re.sub(r"^throwline \d+ m", f"throwline {longest:.0f} m", line) for line in p.rope.kit[1:]]
        out += [line for line in dict.fromkeys(lines) if line not in out]
    return tuple(out)


def bark_pressure(tension: float, limb_diameter: float, rope_diameter: float = 0.0117) -> float:
    """Mean pressure of a rope on bark, tension over (limb radius x rope diameter). [Pa]

    A taut rope round a cylinder presses T / R per metre of contact; spread over the rope's width this is T / (R d).
    """
    return tension / (limb_diameter / 2 * rope_diameter)
