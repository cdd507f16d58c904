"""What does the rigging block ask of its union, and of the wood that holds the climber too?

At rest both legs of the rope pull on the block; a piece that hangs below it swings; a piece that falls past it and is stopped
pulls many times its weight. Friction where the rope turns adds to the pull of hauling, and in a stop it keeps the long leg from
stretching: the end of its range that pulls harder counts. Rope that runs, and wood that gives, lower all of it. Rigging design is the rigger's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.geometry import unit
from treescan.loads.checks.line_check import LineCheck, check_line, check_together
from treescan.loads.fall.backup import common_node
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.pull.shock import arrest_force
from treescan.loads.settings import HIGH, LoadSettings
from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.candidates.contact import bearing_nodes
from treescan.planning.lines.line_loads import passes, strength_reason, weakened
from treescan.planning.ranking.overrides import Override, strength_left
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint
from treescan.planning.work.removal import BARK, BLOCK, RING
from treescan.reason import Reason

DOWN = np.array([0.0, 0.0, -1.0])

ASIDE = np.deg2rad(15.0)
"""Rope to a piece that is stopped leans as far from plumb as this, toward the side it fell to (project choice: no
measurement found). [rad]"""

STEPS = 7
"""Places of a swing, there and over to the far side, at which the block's union is judged."""

FAR = 1000.0
"""A pull is aimed this far along its direction, so that the rope's own place on the bark does not turn it. [m]"""

LEAST_ROPE = 1.0
"""Least rope that stretches when a piece is stopped (project choice). [m]"""

FRICTIONS = 41
"""Frictions between none and the most at which a stop is worked out; the worst counts."""


@dataclass(frozen=True)
class Pull:
    """One load on the block: force (3,) [N], and what its union bears under it."""

    force: Floats
    check: LineCheck

    @property
    def size(self) -> float:
        """[N]"""
        return float(np.linalg.norm(self.force))


@dataclass(frozen=True)
class BlockLoad:
    """What the block asks of its union at one cut.

    Attributes
    ----------
    union : str                 Label of the union.
    weight : float              Of the piece, heavy end. [N]
    over : str                  What the rope runs over: "block", "ring" or "bark".
    at_rest, hauled : float     On the block, without friction, and with the most friction when it is hauled. [N]
    hauled_over_bark : float    The same where the rope runs over bare bark instead. [N]
    calm : Pull                 The worst of rest, hauling, and a swing of a piece that hangs below the block.
    swing_angle : float         From plumb, at which the swing starts; NaN where the piece lies above the block. [rad]
    swing_peak : float          On the block at its lowest point; NaN likewise. [N]
    free, drop : float          Fall before the rope bears, and of the piece's centre in all, where cut or centre lie above
        the block; 0 where the piece hangs below it. [m]
    computed : float            On the block when the rope alone stops that drop, at the friction that makes most of it. [N]
    friction : float            That friction, 0 where none makes most.
    stopped : Pull or None      The larger of that and of what was measured, where it drops.
    """

    union: str
    weight: float
    over: str
    at_rest: float
    hauled: float
    hauled_over_bark: float
    calm: Pull
    swing_angle: float
    swing_peak: float
    free: float
    drop: float
    computed: float
    friction: float
    stopped: Pull | None

    def reasons(self, tree: StructuralModel, settings: PlanningSettings) -> tuple[Reason, ...]:
        """What is told of the block."""
        graph, out = tree.graph, []
        swings = np.isfinite(self.swing_angle)
        out.append(
            Reason(
                "block_load",
                union=self.union,
                weight=self.weight,
                rest=self.at_rest,
                over=Reason(f"hauled_{self.over}"),
                hauled=self.hauled,
                bark=self.hauled_over_bark if self.over != BARK else None,
                swing=self.swing_peak if swings else None,
                angle=self.swing_angle if swings else None,
                strength=strength_reason(graph, self.calm.check),
            )
        )
        if self.stopped is not None:
            out.append(
                Reason(
                    "block_stops",
                    free=self.free,
                    drop=self.drop,
                    computed=self.computed,
                    friction=self.friction,
                    times=settings.stopped_piece,
                    force=self.stopped.size,
                    strength=strength_reason(graph, self.stopped.check),
                )
            )
        out.append(Reason("rigging_is_the_riggers"))
        return tuple(out)

    def alarms(self, settings: PlanningSettings) -> tuple[Reason, ...]:
        """What speaks against the block's union."""
        asked = settings.margin_gate
        if not passes(self.calm.check, asked):
            return (Reason("block_too_much", union=self.union, force=self.calm.size, **_low(self.calm.check, asked)),)
        if self.stopped is not None and not passes(self.stopped.check, asked):
            hard = self.stopped
            return (Reason("block_must_run", union=self.union, force=hard.size, **_low(hard.check, asked)),)
        return ()


def block_at(graph_node: int, tree: StructuralModel) -> AnchorConfiguration:
    """The block choked round the wood at a union: how its union is judged."""
    graph, none = tree.graph, np.zeros(0, np.int32)
    row = int(np.flatnonzero(graph.unions.node == graph_node)[0])
    return AnchorConfiguration(
        row, "SRS canopy", "rope on bark", graph_node, float("nan"), none, graph.xyz[0].copy()
    )


def block_load(
    tree: StructuralModel,
    node: int,
    weight: float,
    place: Floats,
    centre: Floats,
    overrides: Sequence[Override],
    settings: PlanningSettings,
    over: str = BLOCK,
) -> BlockLoad:
    """The block at a union with one piece on its rope.

    Parameters
    ----------
    tree : StructuralModel      As it stands once the piece is off.
    node : int                  Of the union that carries the block.
    weight : float              Of the piece, heavy end. [N]
    place, centre : (3,)        Where the saw goes, and the piece's centre of mass. [m, local]
    over : str                  What the rope runs over at the union: "block", "ring" or "bark".

    Notes
    -----
    Rest: 2 W. Hauled: W (1 + exp(mu pi)), mu the high end of the friction. Swing from the angle a: the rope pulls
    T = W (3 cos t - 2 cos a) at the angle t, toward the piece and down the stem alike. Stopped, where cut or centre lie above
    the block: tied where it is cut, a away from the block and b from its centre, the piece falls 2 (z_cut - z_block) before
    the rope bears and hangs b below its knot in the end, h = z_centre - (z_block - a - b) in all. The long leg, l from the block to
    the ground, bears but k = exp(-mu pi) of the short one's pull T and stretches by so much less: T = W + sqrt(W^2 + 2 W h K / (a + k l)),
    F = (1 + k) T, K the stiffest rope, at the mu of its range that makes most of it; never less than the measured multiple of W.
    """
    graph, loads = tree.graph, tree.settings
    block = graph.xyz[node]
    configuration = block_at(node, tree)
    left = strength_left(graph, bearing_nodes(graph, configuration), overrides)

    def pulled(force: Floats) -> Pull:
        found = check_line(tree, configuration, block + FAR * unit(force), float(np.linalg.norm(force)))
        return Pull(force, weakened(found, left))

    hauled, over_bark = (weight * (1 + float(np.exp(hauling(kind, loads) * np.pi))) for kind in (over, BARK))
    away, start = centre - block, float("nan")
    calm = [hauled * DOWN]
    aside = np.array([away[0], away[1], 0.0])
    aside = unit(aside) if np.linalg.norm(aside) > 1e-9 else np.array([1.0, 0.0, 0.0])
    above = bool(place[2] > block[2] or away[2] >= 0)
    if not above:
        start = float(np.arctan2(np.hypot(away[0], away[1]), -away[2]))
        for t in np.linspace(-start, start, STEPS):
            rope = weight * (3 * np.cos(t) - 2 * np.cos(start))
            calm.append(rope * (np.sin(t) * aside + np.cos(t) * DOWN + DOWN))
    lead, hangs = float(np.linalg.norm(place - block)), float(np.linalg.norm(centre - place))
    drop = max(float(away[2]) + lead + hangs, 0.0) if above else 0.0
    stopped, friction = stop(
        weight, drop, lead, float(block[2]) - tree.ground_below(block), stopping(over, loads), max(loads.rope_modulus_bounds)
    )
    hard = None
    if drop > 0:
        force = max(stopped, settings.stopped_piece * weight)
        leans = [side * np.sin(ASIDE) * aside + np.cos(ASIDE) * DOWN for side in (-1.0, 0.0, 1.0)]
        long_leg = float(np.exp(-stopping(over, loads) * np.pi)) * DOWN
        hard = min((pulled(force * unit(lean + long_leg)) for lean in leans), key=_strength)
    return BlockLoad(
        union=graph.unions.label[configuration.union],
        weight=weight,
        over=over,
        at_rest=2 * weight,
        hauled=hauled,
        hauled_over_bark=over_bark,
        calm=min((pulled(f) for f in calm), key=_strength),
        swing_angle=start,
        swing_peak=2 * weight * (3 - 2 * float(np.cos(start))),
        free=2 * max(float(place[2] - block[2]), 0.0),
        drop=drop,
        computed=stopped,
        friction=friction,
        stopped=hard,
    )


def hauling(over: str, loads: LoadSettings) -> float:
    """Most friction where a rope is hauled slowly."""
    return {BLOCK: loads.mu_pulley, RING: loads.mu_ring, BARK: loads.mu_bark}[over][HIGH]


def stopping(over: str, loads: LoadSettings) -> float:
    """Most friction where a rope is stopped hard: the sheave of a block may not turn fast enough, and the rope slides over it as
    over a ring."""
    return max(hauling(over, loads), hauling(RING, loads))


def stop(
    weight: float, drop: float, short: float, long: float, most: float, modulus: float
) -> tuple[float, float]:
    """What a hard stop pulls at the block [N], and the friction between none and `most` that makes most of it.

    Parameters
    ----------
    weight : float          Of the piece. [N]
    drop : float            Of its centre in all. [m]
    short, long : float     Rope from the block to the piece and to the ground; together at least `LEAST_ROPE`. [m]
    modulus : float         Rope force per strain. [N]

    Notes
    -----
    As in `block_load`; mu = 0 gives the stop without friction, F = 2 [W + sqrt(W^2 + 2 W h K / L)].
    """
    mu = np.linspace(0.0, most, FRICTIONS)
    share = np.exp(-mu * np.pi)
    rope = np.maximum(short + share * max(long, 0.0), LEAST_ROPE)
    force = (1 + share) * arrest_force(weight, modulus, drop, rope)
    worst = int(np.argmax(force))
    return float(force[worst]), float(mu[worst])


@dataclass(frozen=True)
class Both:
    """Climber and block on one stem: reason, whether it is an alarm, and the low end (-inf = not known)."""

    reason: Reason
    alarm: bool
    low: float


def with_climber(
    tree: StructuralModel,
    point: TieInPoint,
    climber: Floats,
    node: int,
    load: BlockLoad,
    overrides: Sequence[Override],
    settings: PlanningSettings,
) -> Both:
    """The stem that carries climber and block both, under both at once.

    climber : (3,) float    The force on the anchor's wood in the hardest ordinary case. [N]

    For an anchor that shares nothing with the block but the stem well below either: a stem is thick there, so it is told
    what the block leaves of it instead of a bare warning.
    """
    graph, here = tree.graph, point.check.configuration
    alone = replace(here, system="SRS canopy", via=here.via[:0], beyond=here.beyond[:0])
    block = block_at(node, tree)
    union = int(graph.unions.node[here.union])
    meet = int(common_node(graph.parent, union, node))
    size = float(np.linalg.norm(climber))
    ways = (unit(climber), DOWN)
    left = strength_left(graph, [meet], overrides)

    def both(pull: Pull) -> LineCheck:
        found = [
            check_together(
                tree,
                (alone, block),
                (point.place + FAR * way, graph.xyz[node] + FAR * unit(pull.force)),
                (size, pull.size),
            )
            for way in ways
        ]
        return weakened(min(found, key=_low_end), left)

    calm = both(load.calm)
    hard = None if load.stopped is None else both(load.stopped)
    asked = settings.margin_doubt
    height = float(graph.xyz[meet, 2] - graph.xyz[0, 2])
    alarm = not passes(calm, asked) or (hard is not None and not passes(hard, settings.margin_gate))
    told = Reason(
        "support_shares_stem",
        anchor=point.name,
        union=load.union,
        height=height,
        calm=strength_reason(graph, calm),
        hard=None if hard is None else strength_reason(graph, hard),
        weak=alarm,
    )
    return Both(told, alarm, _low_end(calm))


def _low_end(check: LineCheck) -> float:
    """The worst first; what is not known is the worst."""
    low = check.margin.p5
    return float(low) if np.isfinite(low) and not check.reason else -np.inf


def _strength(pull: Pull) -> float:
    return _low_end(pull.check)


def _low(check: LineCheck, asked: float) -> dict[str, float | None]:
    known = not check.reason and check.margin.known
    return {"low": check.margin.p5 if known else None, "asked": asked}
