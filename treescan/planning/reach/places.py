"""What do all rope systems share that hang from one place, whatever the wood or the rope system?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.pull.shock import arc
from treescan.loads.settings import LoadSettings
from treescan.planning.candidates.contact import contact_point, own_limbs
from treescan.planning.reach.clearances import Line, clearances_at, conductors
from treescan.planning.reach.reach import reach
from treescan.planning.reach.work_scene import WorkScene
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Clearance, Floats, Reach, Work
from treescan.planning.tree_context import TreeContext
from treescan.short_repr import ShortRepr
from treescan.wood.graph import WoodGraph

Key = tuple[float, ...]
"""A place to the millimetre and the limbs the rope lies against there."""

Swings = tuple[float, ...]
"""What of the loads' settings tells how a climber swings."""


@dataclass(frozen=True)
class Place:
    """Reach from one place, the widest slip (k, 3) [m, local], and the clearances of
    both."""

    reach: Reach
    swept: Floats
    electric: tuple[Clearance, ...]


@dataclass(frozen=True, repr=False)
class Places(ShortRepr):
    """The scene, the conductors, and what was found out about every place that the configurations hang
    from."""

    scene: WorkScene
    lines: tuple[Line, ...]
    found: Mapping[Key, Place]
    swings: Swings

    @classmethod
    def of(
        cls,
        context: TreeContext,
        configurations: Iterable[AnchorConfiguration],
        known: Places | None = None,
        loads: LoadSettings = LoadSettings(),
    ) -> Places:
        """All places of these configurations for a climber of `loads`; those of `known` (same tree, site,
        work and settings) are taken over where the climber swings alike."""
        swings = _swings(loads)
        scene = known.scene if known is not None else WorkScene.of(context)
        lines = known.lines if known is not None else conductors(context.site, context.beside)
        alike = known is not None and known.swings == swings
        found = dict(known.found) if known is not None and alike else {}
        for configuration in configurations:
            key = _key(context.graph, configuration)
            if key not in found:
                found[key] = _place(scene, lines, configuration, loads)
        return cls(scene, lines, found, swings)

    def at(self, configuration: AnchorConfiguration) -> Place:
        """What was found out about the place a configuration hangs from."""
        return self.found[_key(self.scene.graph, configuration)]


def _swings(loads: LoadSettings) -> Swings:
    return loads.climber_mass, loads.rope_modulus, loads.harness_to_feet, loads.swing_body


def _key(graph: WoodGraph, configuration: AnchorConfiguration) -> Key:
    return (*np.round(contact_point(graph, configuration), 3).tolist(), *own_limbs(graph, configuration))


def _place(
    at: WorkScene, lines: tuple[Line, ...], configuration: AnchorConfiguration, loads: LoadSettings
) -> Place:
    settings: PlanningSettings = at.settings
    place, own = contact_point(at.graph, configuration), own_limbs(at.graph, configuration)
    reached = reach(at.graph, at.scene, place, own, at.work, at.work_limb, settings, loads)
    swept = _widest_arc(place, reached, at.work)
    return Place(
        reached, swept, clearances_at(place, at.work.xyz[reached.served], swept, lines, settings.approach)
    )


def _widest_arc(place: Floats, reached: Reach, work: Work) -> Floats:
    """The widest swept arc over the served work, (k, 3), empty when none is served."""
    rows = np.flatnonzero(reached.served)
    if len(rows) == 0:
        return np.zeros((0, 3))
    out = np.hypot(*(work.xyz[rows] - place)[:, :2].T)
    return arc(place, work.xyz[rows[np.argmax(out)]])[0]
