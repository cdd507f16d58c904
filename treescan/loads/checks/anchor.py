"""Will these anchors hold, and what catches if not?

Every configuration against every place of the climber: forces, stresses down to the ground, the margin with its low end, the failure chain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.checks.rope_slip import RunOut, run_out
from treescan.loads.checks.verdict import is_lively, misread, notes, sources, verdict
from treescan.loads.fall.failure_chain import failure_chain, spoiled
from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration, Break, Exceptional, LimbCheck
from treescan.loads.material.wood_strength import Wood
from treescan.loads.rope.configuration_loads import ConfigurationLoads, configuration_loads, friction_multiple
from treescan.loads.rope.contacts import Contact, at_node, middle, union_contact, via_contact
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import INSIDE, LoadSettings
from treescan.loads.statics.deflection import chain
from treescan.loads.statics.governing import Governed, gate, governed
from treescan.loads.statics.load_path import (
    LIMBS,
    OWN,
    LegLoads,
    LoadPath,
    StructuralModel,
    leaves_limbs,
    likely_breaks,
    load_path,
    path_down,
    stops_a_rope,
    unseen,
)
from treescan.loads.statics.reliability import FIXED
from treescan.loads.statics.section_stress import cross
from treescan.loads.statics.tree_sections import tree_sections
from treescan.progress import Progress, quiet
from treescan.trees.beside import Beside
from treescan.units import G
from treescan.wood.graph import Floats, WoodGraph

LIFTED = 0.1
"""A union that bears less than this share of the climber's weight under the governing load has the rope lifted off it (project choice)."""

NOT_SEEN = Estimate(float("nan"), float("nan"), float("nan"))


def check_anchors(
    graph: WoodGraph,
    beside: Beside,
    wood: Wood,
    configurations: Sequence[AnchorConfiguration],
    work_xyz: Floats,
    settings: LoadSettings,
    seed: int,
    progress: Progress = quiet,
) -> tuple[AnchorCheck, ...]:
    """Check every configuration against all work points; the worst climber position and load case governs.

    Parameters
    ----------
    graph : WoodGraph
    beside : Beside             Terrain and foliage.
    wood : Wood                 From `loads.wood_strength.wood_of`.
    configurations : sequence of AnchorConfiguration
    work_xyz : (w, 3) float     Work points; those beyond the allowed rope angle or above the anchor are left out. [m, local]
    settings : LoadSettings
    seed : int                  Of the draws; the same seed gives the same answer.
    progress : callable

    Returns
    -------
    tuple of AnchorCheck, one per configuration and in its order.
    """
    return checked(whole_tree(graph, beside, wood, settings, seed), configurations, work_xyz, progress)


def checked(tree: StructuralModel, configurations: Sequence[AnchorConfiguration], work_xyz: Floats, progress: Progress = quiet) -> tuple[AnchorCheck, ...]:
    """As `check_anchors`, on a tree made ready."""
    work = np.asarray(work_xyz, float).reshape(-1, 3)
    out = []
    for i, configuration in enumerate(configurations):
        progress("loads", i / len(configurations))
        out.append(check_anchor(tree, configuration, work))
    progress("loads", 1.0)
    return tuple(out)


def whole_tree(graph: WoodGraph, beside: Beside, wood: Wood, settings: LoadSettings, seed: int = 1) -> StructuralModel:
    """All that configurations on one tree share, made once: also the draws, so that two configurations differ by what they are and not by luck."""
    sections = tree_sections(graph, beside, wood, settings)
    normals = np.asfortranarray(np.random.default_rng(seed).standard_normal((settings.samples, FIXED + LIMBS + OWN)))
    thick, few = settings.catch_diameter, np.asfortranarray(normals[: settings.catch_samples])
    return StructuralModel(graph, beside, wood, sections, leaves_limbs(graph, thick), stops_a_rope(graph, thick), settings, normals, few)


def check_anchor(tree: StructuralModel, configuration: AnchorConfiguration, work: Floats) -> AnchorCheck:
    """One configuration, as `check_anchors`.

    Where further limbs lie under the climber's leg, the climber hangs from the outermost of them. Should the taut rope lift off the union
    then, the configuration is also judged as if they were not there, and the worse of both is told.
    """
    found = _checked(tree, configuration, work)
    if not len(configuration.beyond) or not found.check.margin.known or np.linalg.norm(found.force) > LIFTED * tree.settings.climber_mass * G:
        return found
    alone = _checked(tree, replace(configuration, beyond=configuration.beyond[:0]), work)
    if alone.check.margin.known and not alone.check.margin.p5 < found.check.margin.p5:
        return found
    lifted = np.zeros(len(configuration.beyond))
    return replace(
        alone, configuration=configuration, contact_forces=np.vstack([alone.contact_forces, np.zeros((len(lifted), 3))]),
        contact_turns=np.concatenate([alone.contact_turns, lifted]), outer=found.outer,
    )  # fmt: skip


def _checked(tree: StructuralModel, configuration: AnchorConfiguration, work: Floats) -> AnchorCheck:
    contacts = contacts_of(tree, configuration)
    union = len(contacts) - 1 - len(configuration.beyond)
    why = unseen(tree, contacts)
    if why:
        return _not_seen(configuration, contacts, why)
    base = np.asarray(configuration.base, float)
    loads = configuration_loads(configuration.system, configuration.hardware, contacts, base, tree.ground_below(contacts[-1].point), work, tree.settings)
    ran = run_out(tree, configuration, loads) if not len(configuration.beyond) else None
    if ran is not None:  # it stays out there, whatever the climber does next
        contacts = (*contacts[:-1], ran.contact)
        why = unseen(tree, contacts)
        if why:
            return _not_seen(configuration, contacts, f"{why}, and the rope can run out there along its limb")
        loads = configuration_loads(configuration.system, configuration.hardware, contacts, base, tree.ground_below(contacts[-1].point), work, tree.settings)
    path = load_path(tree, contacts)
    use = governed(tree, loads, path, configuration.system, configuration.hardware)
    hard = governed(tree, loads, path, configuration.system, configuration.hardware, hard=True) if (loads.pulls.hard > 0).any() else None
    exceptional = None if hard is None else _exceptional(tree, loads, hard, union)
    check = _limb_check(tree, configuration, loads, path, use, exceptional, ran)
    # a report explains a weak section; without one a limb that stands but could not was misread
    if (check.self_weight_share * tree.sections.reported.keep[check.governing] > 1.0 or not check.margin.known) and not gate(tree, path):
        return _not_seen(configuration, contacts, misread(tree, check.governing))
    worst = hard or use  # what breaks it is the hardest case
    climber = loads.pulls.place[worst.row].copy()
    if loads.pulls.work[worst.row] < 0:  # just below the support, where the stop is hardest
        climber[2] = contacts[-1].point[2] - tree.settings.shortest_rope
    at_work = loads.pulls.place[loads.pulls.work >= 0]
    breaks = _breaks(tree, path, worst.use, SYSTEMS[configuration.system].basal, contacts, climber, base, at_work)
    order = [*range(union, -1, -1), *range(union + 1, len(contacts))]
    on_wood = use.legs.force.sum(axis=1)[order]
    return AnchorCheck(
        configuration=configuration,
        force=on_wood[0],
        multiple_of_weight=float(np.linalg.norm(on_wood[0]) / loads.pulls.tension[use.row]),
        case=loads.pulls.case[use.row],
        worst_work_point=int(loads.pulls.work[use.row]),
        contact_forces=on_wood,
        friction_multiple=friction_multiple(loads, configuration.hardware, configuration.system, use.row, union, tree.settings),
        check=check,
        catches=breaks[0].catches,
        redundant=all(b.redundant for b in breaks),
        common_cause=next((b.common_cause for b in breaks if b.common_cause), ""),
        exceptional=exceptional,
        cases=tuple(c for c in tree.settings.cases if c not in tree.settings.exceptional),
        breaks=breaks,
        run_out=0.0 if ran is None else ran.way,
        outer=_outer(tree, loads, path, union, configuration),
        contact_turns=np.full(1, np.nan) if configuration.system == "SRS canopy" else loads.turn[use.row][order],
    )


def _outer(tree: StructuralModel, loads: ConfigurationLoads, path: LoadPath, union: int, configuration: AnchorConfiguration) -> Estimate | None:
    """The margin of the weakest wood that carries a limb under the climber's leg and not the union."""
    rows = path.above[:, union + 1 :].any(axis=1) & ~path.above[:, union]
    return governed(tree, loads, path.of(rows), configuration.system, configuration.hardware).margin if rows.any() else None


def _breaks(
    tree: StructuralModel, path: LoadPath, use: Floats, basal: bool, contacts: Sequence[Contact], climber: Floats, base: Floats, work: Floats
) -> tuple[Break, ...]:
    """What follows from each likely break, the likeliest first; told from where the pull is hardest, redundant only if so at work too."""
    g, s = tree.graph, tree.sections
    out = []
    for kind, row in likely_breaks(tree, path, use):
        node = int(path.node[row])
        found = failure_chain(tree, basal, contacts, climber, base, node)
        reason = found.reason or spoiled(tree, contacts, base, node, work)
        limb = "the stem" if g.limb[node] == 0 else f"limb {g.limb[node]}"
        words = (
            f"{kind[0].upper() + kind[1:]}: {limb}, {2000 * s.radius[node]:.0f} mm, gives way {s.point[node, 2] - g.xyz[0, 2]:.1f} m up and "
            f"takes {s.weight[node] / G:.0f} kg of tree with it.{f' Not held above the ground: {reason}.' if reason else ''}"
        )
        out.append(Break(kind, node, float(use[row]), words, found.catches, not reason, found.common_cause))
    return tuple(out)


def _exceptional(tree: StructuralModel, loads: ConfigurationLoads, hard: Governed, union: int) -> Exceptional:
    """The hardest abrupt stop or swing, as it is told; union : row of its contact."""
    force = hard.legs.force[union].sum(axis=0)
    return Exceptional(
        case=loads.pulls.hard_case[hard.row],
        worst_work_point=int(loads.pulls.work[hard.row]),
        force=force,
        multiple_of_weight=float(np.linalg.norm(force) / (tree.settings.climber_mass * G)),
        margin=hard.margin,
        overload_chance=hard.overload,
        governing=hard.node,
        mode=hard.mode,
    )


def contacts_of(tree: StructuralModel, configuration: AnchorConfiguration) -> tuple[Contact, ...]:
    """Contacts in rope order: supports from the base up, the union, limbs under the climber's leg; the one next to the climber last."""
    s = tree.sections
    top = union_contact(tree.graph, configuration, s.counted, s.point, tree.settings.min_lever)
    found: list[Contact] = [top]
    base = np.asarray(configuration.base, float)
    if SYSTEMS[configuration.system].basal:
        for node in configuration.via:
            found.append(via_contact(tree.graph, int(node), found[-1].point, base))
    g = tree.graph
    beyond = [at_node(g, int(n), middle(g, int(n))) for n in configuration.beyond]
    return (*found[::-1], *beyond)


def _limb_check(
    tree: StructuralModel, configuration: AnchorConfiguration, loads: ConfigurationLoads, path: LoadPath, use: Governed, hard: Exceptional | None, ran: RunOut | None
) -> LimbCheck:
    """Stresses along the governing contact's way to the ground, and the margin with its low and high."""
    s, f = tree.sections, use.forces
    contact = int(np.flatnonzero(path.above[use.section])[-1])
    order = np.flatnonzero(path.above[:, contact])[::-1]
    strength = path.bending * s.k[path.node, 1]
    sag, turn = _deflection(tree, loads.contacts, use.legs)
    found, reason = verdict(tree, use, path, hard)
    return LimbCheck(
        nodes=path.node[order],
        moment=f.bending[0, order],
        torsion=f.torsion[0, order],
        axial=f.axial[0, order],
        shear=f.shear[0, order],
        stress=(use.use * strength)[order],
        strength=strength[order],
        utilisation=use.use[order],
        margin=use.margin,
        governing=use.node,
        mode=use.mode,
        self_weight_share=float(s.own_use[use.node]),
        deflection=sag,
        sources=sources(tree, configuration),
        verdict=found,
        reason=reason,
        overload_chance=use.overload,
        slope_change=turn,
        lively=is_lively(sag, turn, tree.settings),
        notes=notes(tree, path, order, f, loads, use.row, configuration, hard, sag, turn, ran),
    )


def _deflection(tree: StructuralModel, contacts: Sequence[Contact], legs: LegLoads) -> tuple[float, float]:
    """Displacement and change of slope of the rope's place on the union, governing load. [m], [rad]

    Wood inside bark gives the stiffness, whatever section the strength is told on; a hollow keeps the same share of the second moment as of
    the section modulus, 1 - (1 - t/R)^4.
    """
    g, s, top = tree.graph, tree.sections, contacts[-1]
    path = path_down(g.parent, top.node)[::-1]
    points = np.vstack([g.xyz[path[:-1]], top.point[None]])
    radius = s.radius[path] * (1.0 if tree.settings.section == INSIDE else 1.0 - tree.wood.bark_share)
    radius[~np.isfinite(radius)] = np.nanmax(radius)
    radius *= s.reported.keep[path] ** 0.25  # the full round of the same second moment
    force, moment = np.zeros((len(path), 3)), np.zeros((len(path), 3))
    for i, c in enumerate(contacts):
        j = len(path) - 1
        if i < len(contacts) - 1:  # where the other limb leaves this way to the ground
            j = max(int(np.isin(path, path_down(g.parent, c.node)).sum()) - 2, 0)
        force[j] += legs.force[i].sum(axis=0)
        moment[j] += cross(legs.point[i] - points[j], legs.force[i]).sum(axis=0)
    u, turn = chain(points, radius, force, moment, tree.wood.moe, tree.wood.moe * tree.settings.shear_modulus_share)
    return float(np.linalg.norm(u)), float(np.linalg.norm(turn))


def _not_seen(configuration: AnchorConfiguration, contacts: Sequence[Contact], why: str) -> AnchorCheck:
    """The answer where the scan cannot tell: no number at all."""
    none, nan = np.zeros(0), float("nan")
    check = LimbCheck(
        np.zeros(0, np.int32),
        none,
        none,
        none,
        none,
        none,
        none,
        none,
        NOT_SEEN,
        -1,
        "",
        nan,
        nan,
        (),
        "not seen",
        f"Not seen: {why}.",
        nan,
        nan,
    )
    empty = np.full(3, nan)
    unknown = np.full((len(contacts), 3), nan)
    return AnchorCheck(configuration, empty, nan, "", -1, unknown, nan, check, (), False, "", contact_turns=unknown[:, 0])
