"""How is a removal planned cut by cut: what hangs on what, what it bears then, and what the piece comes near to?"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.loads.limb_check import limb_named
from treescan.loads.pull.load_cases import rope_angles
from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.candidates.contact import own_limbs
from treescan.planning.ranking.overrides import Override
from treescan.planning.reach.clearances import Line, conductors
from treescan.planning.reach.sightline import Scene, first_fouls
from treescan.planning.removal.block_load import block_load, with_climber
from treescan.planning.removal.piece_swing import piece_swing, swing_findings
from treescan.planning.removal.pieces import farthest_bark
from treescan.planning.removal.stage_strength import StageLoads, Strength
from treescan.planning.removal.stages import Stage, stages
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.piece_room import near_conductors, over_areas
from treescan.planning.work.removal import Removal, standing
from treescan.planning.work.stage_alarms import dies_with, may_hang, points_at
from treescan.reason import Reason, has
from treescan.units import G

MOST_JUDGED = 6
"""Anchors to hang on that are judged anew for one cut, the best ranked first; further ones are not offered."""


NO_LIMB = (-1, -1)
"""An anchor in another tree stands on no limb of this one."""


@dataclass(frozen=True)
class Ropes:
    """Straight ropes to one cut past the wood that still stands.

    scene : Scene           Before this cut.
    place : (3,) float      Where the saw goes. [m, local]
    limb : int              The place lies on it.
    """

    scene: Scene
    place: Floats
    limb: int
    settings: PlanningSettings

    def against(self, anchor: Floats, own: tuple[int, int], within: float) -> Reason | None:
        """Why no straight rope from an anchor (3,) [m] serves the cut: farther from plumb than `within` [rad], or
        fouled by wood; None where one does."""
        s = self.settings
        angle, limit = float(rope_angles(anchor, self.place)), min(s.rope_angle_limit, within)
        if angle > limit:
            return Reason("rope_far_from_plumb", angle=angle, limit=limit)
        limb = np.array([self.limb], np.int32)
        found = first_fouls(
            self.scene, anchor, self.place[None], own, limb, s.lean_limit, s.own_wood, s.hand_reach
        )
        return None if found[0] < 0 else Reason("rope_fouled", wood=limb_named(int(found[0])))


def removal_plan(
    context: TreeContext,
    points: Sequence[TieInPoint],
    removal: Removal,
    density: float,
    loads: StructuralModel | None = None,
    overrides: Sequence[Override] = (),
) -> tuple[Stage, ...]:
    """The removal cut by cut.

    Parameters
    ----------
    points : all tie-in points, ranked ones first, as the statements left them.
    density : float             Green density of the wood, for the masses of the pieces. [kg/m3]
    loads : StructuralModel     Of the whole tree; without it no anchor is judged anew, and that is said.
    overrides : sequence of Override    What was stated: strength it takes off counts at every cut.
    """
    graph, site = context.graph, context.site
    others = dict(site.anchors)
    found = stages(graph, removal, points, density, context.settings, others=tuple(others))
    at = (
        StageLoads.of(loads, removal, context.work.xyz, overrides, context.settings)
        if loads is not None
        else None
    )
    lines, states = conductors(site, context.beside), standing(graph, removal)
    out = []
    for stage, before in zip(found, states, strict=False):
        place = stage.cut.place(graph)
        limb = int(graph.limb[stage.cut.node])
        ropes = Ropes(Scene.of(graph, context.beside, before.gone), place, limb, context.settings)
        held = _hanging(context, stage, ropes, points, at, removal.support_at(stage.number - 1))
        reached = tuple(
            name for name, xyz in others.items() if ropes.against(np.asarray(xyz, float), NO_LIMB, np.inf) is None
        )
        if at is not None:
            held = _rigged(context, held, removal, points, at, lines)
        life = removal.support_at(stage.number - 1)
        if life in others and (why := ropes.against(np.asarray(others[life], float), NO_LIMB, np.inf)) is not None:
            held = replace(held, alarms=(*held.alarms, Reason("support_not_straight", anchor=life, drawn=True, why=why)))
        near, told = _room(context, stage, lines)
        alarms = tuple(sorted((*held.alarms, *near), key=_urgent))
        out.append(replace(held, alarms=alarms, room=told, elsewhere=reached))
    return tuple(out)


def _hanging(
    context: TreeContext,
    stage: Stage,
    ropes: Ropes,
    points: Sequence[TieInPoint],
    at: StageLoads | None,
    life: str | None,
) -> Stage:
    """The stage with the anchors that reach its cut, and what those and the planned life support bear then."""
    graph = context.graph
    left = [p for p in points if may_hang(p) and p.name in set(stage.left)]

    def against(p: TieInPoint, within: float) -> Reason | None:
        return ropes.against(p.place, own_limbs(graph, p.check.configuration), within)

    near = [p for p in left if against(p, p.check.within) is None]
    if at is None:
        return replace(stage, hang=tuple(p.name for p in near))
    offered: list[Strength] = []
    for p in near:
        if len(offered) == MOST_JUDGED:
            break
        then = at.at_cut(stage.number, p)
        if then.holds and against(p, then.within) is None:
            offered.append(then)
    mine = [] if life is None else [p for p in points_at(points, life) if may_hang(p)]
    gone = at.trees[stage.number - 1].gone
    mine = [p for p in mine if not dies_with(graph, p, gone)]
    support = [at.at_cut(stage.number, p) for p in mine]
    ways = [(p, against(p, s.within)) for p, s in zip(mine, support, strict=True)]
    crooked = [Reason("support_not_straight", anchor=p.name, drawn=False, why=why) for p, why in ways if why is not None]
    crooked = crooked if len(crooked) == len(ways) else []  # of a union, one anchor that serves is enough
    return replace(
        stage,
        hang=tuple(s.name for s in offered),
        support=tuple(support),
        offered=tuple(offered),
        alarms=(*support_then(support), *stage.alarms, *crooked),
    )


def _rigged(
    context: TreeContext,
    stage: Stage,
    removal: Removal,
    points: Sequence[TieInPoint],
    at: StageLoads,
    lines: tuple[Line, ...],
) -> Stage:
    """The stage with what its block bears, what climber and block ask together, and how the piece swings."""
    node, life = removal.rigging_at(stage.number - 1), removal.support_at(stage.number - 1)
    graph, after = context.graph, at.trees[stage.number]
    if node is None or after.gone[node]:
        return stage
    place, settings = stage.cut.place(graph), context.settings
    over = removal.over_at(stage.number - 1)
    load = block_load(after, node, stage.mass.p95 * G, place, stage.centre, at.overrides, settings, over)
    alarms = [*load.alarms(settings), *(a for a in stage.alarms if a.code != "support_weakest_below")]
    told = list(load.reasons(after, settings))
    mine = [] if life is None else points_at(points, life)
    if not has(alarms, "support_shares_rigging"):
        on_stem = [
            with_climber(after, p, force, node, load, at.overrides, settings)
            for p in mine
            if (force := at.force_after(stage.number, p)) is not None
        ]
        if on_stem:
            worst = min(on_stem, key=lambda both: both.low)
            (alarms if worst.alarm else told).append(worst.reason)
    swing = piece_swing(graph.xyz[node], place, stage.centre, farthest_bark(stage.wood, stage.centre))
    if swing is not None:
        drawn = dict(context.site.anchors).get(life or "")
        anchors = [p.place for p in mine] or ([] if drawn is None else [drawn])
        ropes = np.array([(a, place) for a in anchors], float).reshape(-1, 2, 3)
        found, near = swing_findings(
            swing, graph, ~after.gone, context.beside.terrain, ropes, lines, context.site.areas(), settings
        )
        told.append(found)
        alarms += near
    return replace(stage, block=load, swing=swing, rigging=tuple(told), alarms=tuple(alarms))


def support_then(support: Collection[Strength]) -> tuple[Reason, ...]:
    """What the tree as it then stands says against the planned life support."""
    out = []
    for s in support:
        if s.against is not None:
            out.append(Reason("support_fails_then", anchor=s.name, why=s.against))
        elif s.doubt is not None:
            out.append(Reason("support_doubtful_then", anchor=s.name, why=s.doubt))
    return tuple(out)


def _room(
    context: TreeContext, stage: Stage, lines: tuple[Line, ...]
) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Alarms for what the piece comes near to, and its distances to what else was drawn or seen."""
    place, settings = stage.cut.place(context.graph), context.settings
    wires, wires_told = near_conductors(stage.wood, place, stage.reach, lines, settings.approach)
    areas, areas_told = over_areas(stage.wood, place, stage.reach, context.site.areas())
    return (*wires, *areas), (*wires_told, *areas_told)


ORDER = (
    frozenset(
        {
            "support_gone",
            "support_on_piece",
            "support_refused",
            "support_fails_then",
            "support_never_judged",
            "swing_near_climber",
        }
    ),
    frozenset({"support_shares_rigging", "support_shares_stem", "support_weakest_below"}),
    frozenset({"piece_near_conductor", "swing_near_conductor"}),
    frozenset({"rigging_gone", "rigging_on_piece", "rigging_limb_gone", "rigging_on_refused", "block_too_much", "block_must_run"}),
    frozenset({"support_doubtful", "support_doubtful_then", "support_in_other_tree", "support_not_straight"}),
    frozenset({"cut_no_anchor_left", "cut_anchors_go"}),
)
"""Alarms in the order in which they kill; all others (areas to close off) come last."""


def _urgent(alarm: Reason) -> int:
    return next((i for i, codes in enumerate(ORDER) if alarm.code in codes), len(ORDER))
