"""Will these anchors hold? Every rig against every place of the climber: forces, stresses down to the ground, margin, what catches next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.contacts import Contact, union_contact, via_contact
from treescan.loads.deflection import chain
from treescan.loads.limb_check import AnchorCheck, LimbCheck, Rig
from treescan.loads.rig_loads import RigLoads, friction_multiple, rig_loads
from treescan.loads.rope_systems import SYSTEMS
from treescan.loads.section_stress import peaks, section_forces, utilisation, worst_mode
from treescan.loads.settings import LoadSettings, friction
from treescan.loads.tree_sections import TreeSections, tree_sections
from treescan.loads.uncertainty import MarginCase, correlation_factor, monte_carlo
from treescan.loads.wood_strength import Wood
from treescan.progress import Progress, quiet
from treescan.trees.beside import Beside
from treescan.wood.graph import Floats, Ints, WoodGraph

KEPT = 8
"""Weakest sections whose margin is drawn together; the rest are further from failure at the middle values."""

NOT_SEEN = Estimate(float("nan"), float("nan"), float("nan"))


@dataclass(frozen=True)
class Tree:
    """What stays the same for all rigs on one tree."""

    graph: WoodGraph
    beside: Beside
    wood: Wood
    sections: TreeSections
    settings: LoadSettings


@dataclass(frozen=True)
class PathSections:
    """Sections below the contacts of one rig: node (s,) int, above (s, c) bool."""

    node: Ints
    above: np.ndarray


def check_anchors(
    graph: WoodGraph,
    beside: Beside,
    wood: Wood,
    rigs: Sequence[Rig],
    work_xyz: Floats,
    settings: LoadSettings,
    seed: int,
    progress: Progress = quiet,
) -> tuple[AnchorCheck, ...]:
    """Check every rig against all work points; the worst climber position and load case governs.

    Parameters
    ----------
    graph : WoodGraph
    beside : Beside             Terrain and foliage.
    wood : Wood                 From `loads.wood_strength.wood_of`.
    rigs : sequence of Rig
    work_xyz : (w, 3) float     Work points; those beyond the allowed rope angle or above the anchor are left out. [m, local]
    settings : LoadSettings
    seed : int                  Of the draws; the same seed gives the same answer.
    progress : callable

    Returns
    -------
    tuple of AnchorCheck, one per rig and in its order.
    """
    tree = Tree(graph, beside, wood, tree_sections(graph, beside, wood, settings), settings)
    work = np.asarray(work_xyz, float).reshape(-1, 3)
    out = []
    for i, rig in enumerate(rigs):
        progress("loads", i / len(rigs))
        out.append(check_anchor(tree, rig, work, np.random.default_rng([seed, i])))
    progress("loads", 1.0)
    return tuple(out)


def check_anchor(tree: Tree, rig: Rig, work: Floats, rng: np.random.Generator) -> AnchorCheck:
    """One rig, as `check_anchors`."""
    contacts = contacts_of(tree, rig)
    ground = ground_below(tree, contacts[-1].point)
    unseen = _unseen(tree, contacts)
    if unseen:
        return _not_seen(rig, contacts, unseen)
    loads = rig_loads(rig.system, rig.hardware, contacts, np.asarray(rig.base, float), ground, work, tree.settings)
    path = path_sections(tree, contacts)
    row, governing = _worst(tree, loads, path)
    check = _limb_check(tree, rig, loads, path, row, governing, rng)
    forces = loads.leg_forces()[row].sum(axis=1)[::-1]
    return AnchorCheck(
        rig=rig,
        force=forces[0],
        multiple_of_weight=float(np.linalg.norm(forces[0]) / loads.pulls.tension[row]),
        case=loads.pulls.case[row],
        worst_work_point=int(loads.pulls.work[row]),
        contact_forces=forces,
        friction_multiple=friction_multiple(loads, rig.hardware, rig.system, row, tree.settings),
        check=check,
        catches=(),
        redundant=False,
        common_cause="",
    )


def contacts_of(tree: Tree, rig: Rig) -> tuple[Contact, ...]:
    """Contacts in rope order: supports from the base up, the union last."""
    s = tree.sections
    top = union_contact(tree.graph, rig, s.counted, s.point, tree.settings.least_lever)
    found: list[Contact] = [top]
    base = np.asarray(rig.base, float)
    if SYSTEMS[rig.system].basal:
        for node in rig.via:
            found.append(via_contact(tree.graph, int(node), found[-1].point, base))
    return tuple(found[::-1])


def ground_below(tree: Tree, point: Floats) -> float:
    """Height of the terrain below a point; of the stem's foot where the terrain is unseen. [m]"""
    z = float(tree.beside.terrain.height_at(point[:2]))
    return z if np.isfinite(z) else float(tree.graph.xyz[0, 2])


def path_sections(tree: Tree, contacts: Sequence[Contact]) -> PathSections:
    """All sections that carry any of the contacts, each with the contacts it carries."""
    counted = tree.sections.counted
    paths = [tree.graph.path_to_base(c.node) for c in contacts]
    node = np.unique(np.concatenate([p[counted[p]] for p in paths]))
    above = np.stack([np.isin(node, p) for p in paths], axis=1)
    return PathSections(node.astype(np.int32), above)


def _unseen(tree: Tree, contacts: Sequence[Contact]) -> str:
    """Why the scan cannot tell, or nothing: a bridged gap or a missing diameter on the way to the ground."""
    s = tree.sections
    for c in contacts:
        path = tree.graph.path_to_base(c.node)
        path = path[s.counted[path]]
        if len(path) == 0:
            return "no section was measured between the rope and the ground"
        bad = path[~s.known[path]]
        if len(bad):
            what = "the scan bridged a gap" if not tree.graph.seen[bad[0]] else "no diameter was measured"
            return f"{what} at {tree.graph.xyz[bad[0], 2] - tree.graph.xyz[0, 2]:.1f} m on the load path (limb {tree.graph.limb[bad[0]]})"
    return ""


def _strengths(tree: Tree, node: Ints) -> tuple[Floats, Floats, Floats]:
    """Bending, crushing and shear strength of sections after reports, before the union factor. [Pa]"""
    s = tree.sections
    keep = s.reported.keep[node]
    area = 1.0 - np.sqrt(1.0 - keep)
    return s.bending * keep, s.crushing * area, s.shear * area


def _worst(tree: Tree, loads: RigLoads, path: PathSections) -> tuple[int, int]:
    """Load row and section (row of `path`) with the largest utilisation."""
    s, node = tree.sections, path.node
    bending, crushing, shear = _strengths(tree, node)
    legs = loads.leg_forces()
    about = np.cross(loads.leg_point, legs).sum(axis=2)
    largest, which = peaks(
        s.point[node], s.axis[node], s.radius[node], bending * s.k[node, 1], crushing, shear, s.weight[node], s.own_moment[node],
        path.above, legs.sum(axis=2), about,
    )  # fmt: skip
    governing = int(np.argmax(largest))
    return int(which[governing]), governing


def _limb_check(tree: Tree, rig: Rig, loads: RigLoads, path: PathSections, row: int, governing: int, rng: np.random.Generator) -> LimbCheck:
    """Stresses along the governing contact's way to the ground, and the margin with its low and high."""
    s, settings = tree.sections, tree.settings
    carried = np.flatnonzero(path.above[governing])
    contact = int(carried[-1])
    order = np.flatnonzero(path.above[:, contact])[::-1]
    node = path.node[order]
    legs, points = loads.leg_forces()[row].reshape(-1, 3), loads.leg_point[row].reshape(-1, 3)
    above = np.repeat(path.above[order], 2, axis=1)
    down = np.array([0.0, 0.0, -1.0])
    own = s.weight[node, None] * down
    bending, crushing, shear = _strengths(tree, node)
    strength = bending * s.k[node, 1]
    f = section_forces(s.point[node], s.axis[node], above, points[None], legs[None], own, s.own_moment[node])
    along, across = utilisation(f, s.radius[node], strength, crushing, shear)
    used = np.maximum(along, across)[0]
    alone = section_forces(s.point[node], s.axis[node], above, points[None], np.zeros((1, len(legs), 3)), own, s.own_moment[node])
    own_use = np.maximum(*utilisation(alone, s.radius[node], strength, crushing, shear))[0]
    g = int(np.flatnonzero(order == governing)[0])
    one = type(f)(*(x[:, g : g + 1] for x in (f.axial, f.shear, f.bending, f.torsion)))
    mode = worst_mode(one, float(s.radius[node[g]]), float(strength[g]), float(crushing[g]), float(shear[g]), bool(s.fork[node[g]]))
    margin, overload = monte_carlo(margin_case(tree, rig, loads, path, row, contact), rng, settings.samples)
    sag, turn = _deflection(tree, loads, row)
    verdict, reason = _verdict(tree, loads, margin, int(node[g]), mode, path)
    return LimbCheck(
        nodes=node,
        moment=f.bending[0],
        torsion=f.torsion[0],
        axial=f.axial[0],
        shear=f.shear[0],
        stress=used * strength,
        strength=strength,
        utilisation=used,
        margin=margin,
        governing=int(node[g]),
        mode=mode,
        self_weight_share=float(own_use[g]),
        deflection=sag,
        sources=_sources(tree, rig),
        verdict=verdict,
        reason=reason,
        overload_chance=overload,
        slope_change=turn,
    )


def margin_case(tree: Tree, rig: Rig, loads: RigLoads, path: PathSections, row: int, contact: int) -> MarginCase:
    """The weakest sections under one load row with all that is uncertain; `contact` is the one whose place on its limb varies."""
    s, settings, node = tree.sections, tree.settings, path.node
    legs, points = loads.leg_forces()[row], loads.leg_point[row]
    q = legs.reshape(-1, 3)
    above = np.repeat(path.above, 2, axis=1)
    force = above[..., None] * q
    moment = above[..., None] * np.cross(points.reshape(-1, 3)[None] - s.point[node][:, None], q[None])
    bending, crushing, shear = _strengths(tree, node)
    own = s.weight[node, None] * np.array([0.0, 0.0, -1.0])
    total = section_forces(s.point[node], s.axis[node], above, points.reshape(1, -1, 3), q[None], own, s.own_moment[node])
    used = np.maximum(*utilisation(total, s.radius[node], bending * s.k[node, 1], crushing, shear))[0]
    kept = np.sort(np.argsort(-used, kind="stable")[:KEPT])
    n = node[kept]
    c = loads.contacts[contact]
    shift = path.above[kept, contact, None] * np.cross(c.axis, legs[contact].sum(axis=0))
    turns, mu, used_mu = _friction_turns(rig, loads, row, settings)
    height = np.linalg.norm(s.point[n] - tree.graph.xyz[0], axis=1)
    return MarginCase(
        axis=s.axis[n], radius=s.radius[n], sd=s.sd[n], tangle=correlation_factor(tree.graph.limb[n], height, settings),
        bending=bending[kept], crushing=crushing[kept], shear=shear[kept], spread=s.spread, k=s.k[n], force=force[kept], moment=moment[kept],
        turn_sum=turns, mu=mu, mu_used=used_mu, shift=shift, least_shift=-max(np.nan_to_num(c.out, nan=np.inf), 0.0),
        own_weight=s.weight[n], own_moment=s.own_moment[n], mass_sd=settings.climber_mass_sd / settings.climber_mass, rest_sd=settings.rest_sd,
    )  # fmt: skip


def _friction_turns(rig: Rig, loads: RigLoads, row: int, settings: LoadSettings) -> tuple[Floats, Floats, float]:
    """Turning between climber and each leg, and the friction range, where friction is counted in the check."""
    c = len(loads.contacts)
    turns = np.zeros((c, 2))
    mu = np.array(friction(rig.hardware, settings))
    if SYSTEMS[rig.system].basal and settings.basal_bound == "friction":
        gain = np.cumsum(loads.turn[row][::-1])[::-1]
        turns[:, 0] = gain
        turns[:-1, 1] = gain[1:]
    return turns.ravel(), mu, float(mu[0])


def _deflection(tree: Tree, loads: RigLoads, row: int) -> tuple[float, float]:
    """Displacement and change of slope of the rope's place on the union, governing load. [m], [rad]"""
    g, s, top = tree.graph, tree.sections, loads.contacts[-1]
    path = g.path_to_base(top.node)[::-1]
    points = np.vstack([g.xyz[path[:-1]], top.point[None]])
    radius = s.radius[path].copy()
    radius[~np.isfinite(radius)] = np.nanmax(radius)
    force, moment = np.zeros((len(path), 3)), np.zeros((len(path), 3))
    legs = loads.leg_forces()[row]
    for i, c in enumerate(loads.contacts):
        below = np.isin(path, g.path_to_base(c.node))
        j = len(path) - 1 if i == len(loads.contacts) - 1 else max(int(np.flatnonzero(below)[-1]) - 1, 0)
        force[j] += legs[i].sum(axis=0)
        moment[j] += np.cross(loads.leg_point[row, i] - points[j], legs[i]).sum(axis=0)
    u, turn = chain(points, radius, force, moment, tree.wood.moe, tree.wood.moe * tree.settings.shear_modulus_share)
    return float(np.linalg.norm(u)), float(np.linalg.norm(turn))


def _verdict(tree: Tree, loads: RigLoads, margin: Estimate, node: int, mode: str, path: PathSections) -> tuple[str, str]:
    """The verdict and its reason in one sentence."""
    g, settings = tree.graph, tree.settings
    gates = [tree.sections.reported.gate[int(n)] for n in path.node if int(n) in tree.sections.reported.gate]
    if gates:
        return "does not hold", gates[0] + "."
    where = f"{g.xyz[node, 2] - g.xyz[0, 2]:.1f} m up on {'the stem' if g.limb[node] == 0 else f'limb {g.limb[node]}'} ({2000 * g.segment_radius[node]:.0f} mm)"
    low = f"Low end of strength over stress {margin.p5:.2f} (middle {margin.median:.2f}) {where}, {mode}"
    if margin.p5 >= settings.holds_p5:
        return "holds", f"{low}; {settings.holds_p5:.2f} is asked for."
    if margin.p5 >= settings.fails_p5:
        return "doubtful", f"{low}; less than the {settings.holds_p5:.2f} asked for."
    return "does not hold", f"{low}; less than {settings.fails_p5:.2f}."


def _sources(tree: Tree, rig: Rig) -> tuple[str, ...]:
    """Keys of everything published the check leans on."""
    keys = [*tree.wood.sources, "kane_2007", "union_factor", "capstan", "arrest_force", SYSTEMS[rig.system].source]
    return tuple(dict.fromkeys(keys))


def _not_seen(rig: Rig, contacts: Sequence[Contact], why: str) -> AnchorCheck:
    """The answer where the scan cannot tell: no number at all."""
    none, nan = np.zeros(0), float("nan")
    check = LimbCheck(
        np.zeros(0, np.int32), none, none, none, none, none, none, none, NOT_SEEN, -1, "", nan, nan, (), "not seen", f"Not seen: {why}.", nan, nan
    )
    empty = np.full(3, nan)
    return AnchorCheck(rig, empty, nan, "", -1, np.full((len(contacts), 3), nan), nan, check, (), False, "")
