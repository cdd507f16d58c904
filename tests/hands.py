"""Trees drawn by hand and checks written by hand, for tests that argue a ranking without the loads and throw rooms."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from strategies import alone

from treescan.estimate import Estimate
from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration, Catch, LimbCheck
from treescan.loads.settings import LoadSettings
from treescan.planning.candidates.candidates import candidate_configurations
from treescan.planning.ranking.rank import rank_points
from treescan.planning.settings import PlanningSettings
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import default_work
from treescan.reason import Reason
from treescan.throw.throw_path import Stances, Throw, ThrowTable
from treescan.trees.beside import Site
from treescan.wood.graph import ScanFitness, WoodGraph
from treescan.wood.topology.assemble import assemble

ASSESSABLE = ScanFitness("assessable", ())
S = PlanningSettings()


def tree(*axes: tuple[Sequence[Sequence[float]], float, float], step: float = 0.25, sd: float = 0.03, arc: float = 2 * np.pi) -> WoodGraph:
    """A tree of straight-lined axes: (corner points, radius at start, radius at end), the first from the ground, each next one
    starting at a point of an earlier axis; nodes every `step` metres, at exact corners too."""
    xyz: list[np.ndarray] = []
    radius: list[float] = []
    parent: list[int] = []
    for corners, r0, r1 in axes:
        c = np.array(corners, float)
        if not xyz:
            xyz.append(c[0])
            radius.append(r0)
            parent.append(-1)
            at = 0
        else:
            at = int(np.argmin(np.linalg.norm(np.array(xyz) - c[0], axis=1)))
            assert np.linalg.norm(xyz[at] - c[0]) < step, "an axis must start on an earlier one"
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(c, axis=0), axis=1))])
        where = np.unique(np.concatenate([np.linspace(0, along[-1], max(2, round(along[-1] / step) + 1)), along]).round(9))[1:]
        for s in where:
            xyz.append(np.array([np.interp(s, along, c[:, i]) for i in range(3)]))
            radius.append(r0 + (r1 - r0) * s / along[-1])
            parent.append(at)
            at = len(xyz) - 1
    depth = np.zeros(len(xyz), int)
    for i in range(1, len(xyz)):
        depth[i] = depth[parent[i]] + 1
    order = np.argsort(depth, kind="stable")
    new = np.empty(len(order), int)
    new[order] = np.arange(len(order))
    r = np.array(radius)[order]
    p = np.array([-1 if parent[i] < 0 else new[parent[i]] for i in order])
    return assemble(np.array(xyz)[order], r, p, radius_sd=r * sd, arc=np.full(len(r), arc))


def margin(median: float, spread: float = 1.6) -> Estimate:
    """A margin whose 5th and 95th percentiles lie a factor `spread` below and above the median."""
    return Estimate(median, median / spread, median * spread)


NOTHING_SEEN = Estimate(float("nan"), float("nan"), float("nan"))


def catch(label: str | None, union: int | None = None, drop: float = 0.5, holds: float = 2.0) -> Catch:
    """What the rope lands on next; label None = the ground."""
    if label is None:
        return Catch(None, "ground", 0.0, drop, float("nan"), NOTHING_SEEN, Reason("falls_to_ground", drop=drop))
    return Catch(union, label, drop, drop, 4000.0, margin(holds), Reason("catch_fails", catch=label, against=(Reason("feet_may_strike"),), more=False))


def check(
    graph: WoodGraph,
    configuration: AnchorConfiguration,
    median: float = 6.0,
    *,
    spread: float = 1.6,
    multiple: float = 1.0,
    redundant: bool = False,
    catches: tuple[Catch, ...] = (),
    verdict: str | None = None,
    common_cause: Reason | None = None,
    within: float = np.pi / 4,
) -> AnchorCheck:
    """What loads would say of a configuration, with the margin given by hand (climber of 100 kg)."""
    nodes = graph.path_to_base(configuration.rest_node)
    zero = np.zeros(len(nodes))
    m = margin(median, spread)
    word = verdict or ("holds" if m.p5 >= 1.5 else "doubtful" if m.p5 >= 1.0 else "does not hold")
    limb = LimbCheck(
        nodes=nodes,
        moment=zero,
        torsion=zero,
        axial=zero,
        shear=zero,
        stress=zero,
        strength=zero,
        utilisation=zero,
        margin=NOTHING_SEEN if word == "not seen" else m,
        governing=int(configuration.rest_node),
        mode="bending",
        self_weight_share=0.1,
        deflection=0.02,
        sources=(),
        verdict=word,
        reason=Reason("no_section_measured" if word == "not seen" else "judged_bare"),
        overload_chance=float("nan"),
        slope_change=float("nan"),
        notes=(),
        lively=False,
        tested=(),
    )
    weight = 100 * 9.80665
    force = np.array([0.0, 0.0, -multiple * weight])
    return AnchorCheck(
        configuration=configuration,
        force=force,
        multiple_of_weight=multiple,
        case="at rest",
        worst_work_point=-1,
        contact_forces=force[None],
        friction_multiple=multiple,
        check=limb,
        catches=catches or (catch(None),),
        redundant=redundant,
        common_cause=common_cause,
        exceptional=None,
        cases=(),
        breaks=(),
        rope_slip=0.0,
        outer=None,
        contact_turns=np.zeros(0),
        within=within,
    )


def throw(
    graph: WoodGraph,
    union: int,
    chance: float = 0.5,
    isolation_class: int = 1,
    method: str = "hand",
    stand: Sequence[float] = (6.0, 0.0, 0.0),
) -> Throw:
    """A throw whose chance is given by hand; it flies a plain arc from the stand over the union to the mirrored place."""
    u = graph.unions
    arm = int(u.laterals(union)[0])
    place, start = u.place[union], np.array(stand, float)
    end = np.array([2 * place[0] - start[0], 2 * place[1] - start[1], start[2]])
    s = np.linspace(0, 1, 25)[:, None]
    path = start + s * (end - start) + np.array([0, 0, 1.0]) * 4 * s * (1 - s) * (place[2] - start[2] + 1.0)
    return Throw(
        union,
        isolation_class,
        0,
        start,
        method,
        0.0,
        1.2,
        17.0,
        chance,
        path,
        np.vstack([start, place, end]),
        place,
        0.35,
        True,
        np.array([u.arm_node[arm]], np.int32),
        np.zeros(0, np.int32),
        (),
        isolation_class - 1 if isolation_class == 2 else 0,
        0.1,
        ("throw",),
    )


def table(graph: WoodGraph, throws: Sequence[Throw] = ()) -> ThrowTable:
    """A throw table that holds exactly these throws."""
    m = len(graph.unions)
    return ThrowTable(Stances(np.zeros((1, 3))), {(t.union, t.isolation_class): t for t in throws}, np.zeros((m, 1, 3), np.float32), ("",) * m)


def ranked(
    graph,
    throws=(),
    median=6.0,
    *,
    beside=None,
    site=None,
    fitness=ASSESSABLE,
    settings=S,
    systems=("MRS",),
    seed=1,
    work=None,
    **judged,
):
    """Rank a tree whose margins are given by hand: one number, or a function of the configuration."""
    beside = beside or alone(graph)
    t = table(graph, throws)
    configurations = candidate_configurations(graph, beside, t, systems, settings)
    checks = [check(graph, r, median(r) if callable(median) else median, **judged) for r, _ in configurations]
    w = work or default_work(graph, beside, settings)
    return rank(TreeContext(graph, beside, site or Site(), w, settings), t, configurations, checks, fitness, seed)


def rank(context, throws, configurations, checks, fitness=ASSESSABLE, seed=1):
    """The list of configurations with their throws, as checked one by one."""
    pairs = [(found, t) for found, (_, t) in zip(checks, configurations, strict=True)]
    return rank_points(context, fitness, pairs, LoadSettings(), seed)


def plain_tree(**kind):
    """A stem of 14 m with three limbs that rise at 45 degrees at 5, 8 and 11 m to different sides."""
    return tree(
        ([[0, 0, 0], [0, 0, 14]], 0.25, 0.08),
        ([[0, 0, 5], [3, 0, 8]], 0.10, 0.04),
        ([[0, 0, 8], [-2.5, 1, 10.5]], 0.09, 0.04),
        ([[0, 0, 11], [0.5, -1.5, 12.5]], 0.06, 0.03),
        **kind,
    )


def only(points, label, system="MRS"):
    (found,) = [p for p in points if p.label == label and p.system == system]
    return found


def of_code(reasons, code):
    """The reasons of one code, in their order."""
    return [r for r in reasons if r.code == code]
