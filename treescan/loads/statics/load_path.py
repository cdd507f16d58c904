"""Which sections carry a contact down to the ground, how strong are they, and which of them governs?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numba import njit

from treescan.loads.chance.reliability import BENT_BACK, MarginCase, RopeFriction
from treescan.loads.limb_check import limb_named
from treescan.loads.material.defects import kept_area, kept_shear
from treescan.loads.rope.contacts import Contact
from treescan.loads.sections.section_stress import SectionForces, section_forces, utilisation
from treescan.loads.settings import LOW, MIDDLE
from treescan.loads.statics.case_kernel import sections_asked, uses, weakest
from treescan.loads.statics.structural_model import LIMBS, OWN, StructuralModel
from treescan.reason import Reason
from treescan.wood.graph import Floats, Ints

KEPT = 8
"""Weakest sections whose margin is drawn together, by their low ends; the rest are further from failure."""

FIVE_PERCENT = 1.6448536269514722
"""Standard normal of the 95th percentile."""

MIN_FACTOR = 1e-3
"""Union factors are not counted below this where sections are put in order."""

DOWN = np.array([0.0, 0.0, -1.0])


@dataclass(frozen=True)
class LoadPath:
    """Sections below the contacts of one rope: node (s,) int from the ground up, above (s, c) True where a
    section carries the contact.

    point, axis, radius, sd, k, own_force, own_moment : rows of the tree's sections, own_force (s, 3) their
        weight.
    bending, crushing, shear : (s,) median strengths after reports, before the union factor. [Pa]
    stretch : (s, 3, 3) as in `TreeSections`; (0, 3, 3) where all sections are as strong all round.
    doubt : (s,) how much more its low end is used than its middle, from its diameter, the spread of its strength
        and its union factor.
    rank : (s,) int place of its limb among those on the way to the ground, the stem first; row : (s,) int its
        own from the ground up.
    spread : (s,) log standard deviation of its strength; plane : (s,) as in `TreeSections`; fork : (s,) bool; limb : (s,) int.
    """

    node: Ints
    above: np.ndarray
    point: Floats
    axis: Floats
    radius: Floats
    sd: Floats
    k: Floats
    own_force: Floats
    own_moment: Floats
    bending: Floats
    crushing: Floats
    shear: Floats
    stretch: Floats
    doubt: Floats
    rank: Ints
    row: Ints
    spread: Floats
    plane: Floats
    fork: np.ndarray
    limb: Ints

    @cached_property
    def states(self) -> tuple[Floats, Floats]:
        """Radius and strength of every section, (2, s) each: at the middle values and at the low ends, thinner and weaker at
        unions, the kind of section that scatters more beside the one that scatters least. [m], [Pa]"""
        radius = np.stack([self.radius, self.radius * np.exp(-FIVE_PERCENT * self.sd)])
        strength = np.ascontiguousarray(self.bending * self.k[:, [MIDDLE, LOW]].T)
        strength[1] *= np.exp(-FIVE_PERCENT * (self.spread - self.spread.min()))
        return radius, strength

    @cached_property
    def curved(self) -> dict[str, Any]:
        """What was found out about its bends, see `splitting.bends_on`."""
        return {}

    @property
    def round(self) -> bool:
        """True where no section is oval or weaker sideways."""
        return len(self.stretch) == 0

    def of(self, rows: np.ndarray) -> LoadPath:
        """Some of its sections only; rows (s,) bool."""
        return replace(
            self,
            **{
                f.name: getattr(self, f.name)[rows]
                for f in fields(self)
                if not (f.name == "stretch" and self.round)
            },
        )


@dataclass(frozen=True)
class LegLoads:
    """Rope legs on every contact for one load: points and forces (c, 2, 3), toward the base and toward the
    climber. [m], [N]"""

    point: Floats
    force: Floats


def load_path(tree: StructuralModel, contacts: Sequence[Contact]) -> LoadPath:
    """All sections that carry any of the contacts; looked up where the same sections carried them before."""
    nodes, kept = tuple(c.node for c in contacts), tree.sections.kept
    found = kept.get(nodes)
    if found is None:
        found = kept[nodes] = _load_path(tree, contacts)
    return found


def _load_path(tree: StructuralModel, contacts: Sequence[Contact]) -> LoadPath:
    s = tree.sections
    paths = [path_down(tree.graph.parent, c.node) for c in contacts]
    own = [p[s.counted[p]] for p in paths]
    if len(own) == 1:
        node, above = own[0][::-1].copy(), np.ones((len(own[0]), 1), bool)
    else:
        node = np.unique(np.concatenate(own))
        above = np.zeros((len(node), len(own)), bool)
        for i, p in enumerate(own):
            above[np.searchsorted(node, p), i] = True
    keep = s.reported.keep[node]
    stretch = s.stretch[node] if s.uneven[node].any() else np.zeros((0, 3, 3))
    sd, k = s.sd[node], s.k[node]
    spread = np.hypot(s.tree_spread[node], s.limb_spread[node])
    doubt = np.exp(FIVE_PERCENT * (3 * sd + spread)) * k[:, MIDDLE] / np.maximum(k[:, LOW], MIN_FACTOR)
    limb = tree.graph.limb[node]
    rank = np.minimum(np.searchsorted(np.unique(limb), limb), LIMBS - 1)
    return LoadPath(
        node,
        above,
        s.point[node],
        s.axis[node],
        s.radius[node],
        sd,
        k,
        s.weight[node, None] * DOWN,
        s.own_moment[node],
        s.bending[node] * keep,
        s.crushing[node] * kept_area(keep),
        s.shear[node] * kept_shear(keep),
        stretch,
        doubt,
        rank,
        np.arange(len(node)),
        spread,
        s.plane[node],
        s.fork[node],
        limb,
    )


@njit(cache=True)
def path_down(parent: Ints, node: int) -> Ints:  # pragma: no cover - compiled
    """Nodes from `node` (first) down to the root (last)."""
    count, at = 1, node
    while parent[at] >= 0:
        count, at = count + 1, parent[at]
    out = np.empty(count, np.int32)
    at = node
    for i in range(count):
        out[i] = at
        at = parent[at]
    return out


def unseen(tree: StructuralModel, contacts: Sequence[Contact]) -> Reason | None:
    """Why the scan cannot tell, where it cannot: a bridged gap or a missing diameter on the way to the
    ground."""
    g, s = tree.graph, tree.sections
    for c in contacts:
        path = path_down(g.parent, c.node)
        path = path[s.counted[path]]
        if len(path) == 0:
            return Reason("no_section_measured")
        bad = path[~s.known[path]]
        if len(bad):
            height = g.xyz[bad[0], 2] - g.xyz[0, 2]
            return Reason(
                "diameter_not_measured" if g.seen[bad[0]] else "gap_bridged",
                height=height,
                wood=limb_named(g.limb[bad[0]]),
            )
    return None


def forces(path: LoadPath, loads: LegLoads) -> SectionForces:
    """Section forces (1, s) of one load with the tree's own weight."""
    return section_forces(
        path.point,
        path.axis,
        np.repeat(path.above, 2, axis=1),
        loads.point.reshape(1, -1, 3),
        loads.force.reshape(1, -1, 3),
        path.own_force,
        path.own_moment,
    )


def used(path: LoadPath, loads: LegLoads) -> Floats:
    """Median stress over strength of every section under one load, (s,)."""
    found = uses(
        path.point, path.axis, *path.states, path.crushing, path.shear, path.own_force, path.own_moment,
        path.above, loads.point, loads.force, path.stretch,
    )  # fmt: skip
    return np.asarray(found, float)


def largest_uses(tree: StructuralModel, contact: Contact, forces: Floats) -> Floats:
    """Largest median stress over strength that each of some forces on one contact makes on its way to the ground, own
    weight and the direction of the bending counted, (l,): a screen before margins are drawn.

    Parameters
    ----------
    forces : (l, 3) float   [N]
    """
    path = load_path(tree, [contact])
    load = np.asarray(forces, float).reshape(-1, 1, 3)
    found = section_forces(
        path.point,
        path.axis,
        path.above,
        np.broadcast_to(contact.point, load.shape),
        load,
        path.own_force,
        path.own_moment,
        None if path.round else path.stretch,
    )
    each = utilisation(found, path.radius, path.bending * path.k[:, MIDDLE], path.crushing, path.shear)
    return np.asarray(np.nan_to_num(np.maximum(*each), nan=0.0).max(axis=1, initial=0.0), float)


def margin_case(
    tree: StructuralModel,
    path: LoadPath,
    contacts: Sequence[Contact],
    loads: LegLoads,
    moving: int,
    friction: RopeFriction,
    utilised: Floats,
) -> MarginCase:
    """The weakest sections under one load with all that is uncertain.

    Parameters
    ----------
    moving : int            Contact whose place along its limb is uncertain.
    utilised : (s,) float   From `used`.
    """
    settings, c = tree.settings, contacts[moving]
    kept = weakest(utilised, path.doubt, KEPT)
    n = path.node[kept]
    cholesky, plane, force, moment, shift, own = sections_asked(
        kept, path.point, path.axis, path.own_moment, path.above, path.stretch, path.limb, path.plane, path.fork,
        tree.graph.xyz[0], loads.point, loads.force, c.axis, moving, settings.diameter_reach, settings.diameter_common, BENT_BACK,
    )  # fmt: skip
    return MarginCase(
        axis=path.axis[kept],
        radius=path.radius[kept],
        sd=path.sd[kept],
        cholesky=cholesky,
        bending=path.bending[kept],
        crushing=path.crushing[kept],
        shear=path.shear[kept],
        spread=tree.sections.tree_spread[n],
        limb_spread=tree.sections.limb_spread[n],
        plane=plane,
        limb=path.rank[kept],
        limbs=LIMBS,
        column=path.row[kept] % OWN,
        k=path.k[kept],
        force=force,
        moment=moment,
        turn_sum=friction.turn_sum,
        mu=friction.mu,
        mu_used=friction.used,
        shift=shift,
        min_shift=-max(c.out, 0.0) if np.isfinite(c.out) else -np.inf,
        own_weight=-path.own_force[kept, 2],
        own_moment=own,
        mass_sd=settings.climber_mass_sd / settings.climber_mass,
        rest_sd=settings.rest_sd,
        node=n,
    )

