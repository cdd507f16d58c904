"""Does the rope stay where it was laid, or does it slip out along its limb when the climber pulls from the
side?

A rope over a limb is held along it by friction alone. Where the pull's part along the limb is more than the
least friction holds, the rope runs out until the pull stands square enough to the limb, or until a side limb
stops it. A line choked round the limb holds itself.

It is judged out there under the pulls that drag it there, and under one climber who comes back on it; where it was
laid, under all loads. A second person goes on a rope that was laid anew: two people plumb below a place to which only
a pull from the side drags the rope is a load nobody applies who does so, and it refused wood that bears twice as much
from another system.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.configuration_loads import ConfigurationLoads
from treescan.loads.rope.contacts import Contact, at_node, line_out
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import LOW
from treescan.loads.statics.structural_model import StructuralModel

HELD_BY = ("friction", "side_limb", "nothing")
"""What stops a rope that slips along its limb, by the number `_rest` gives."""

NOTABLE = 0.05
"""Shorter ways are within how well the rope's place is known [m] (project choice)."""


@dataclass(frozen=True)
class RopeSlip:
    """Where the rope comes to rest.

    contact : Contact       On the wood there.
    way : float             From where it was laid, along the limb. [m]
    held_by : str           One of `HELD_BY`; "nothing" where it runs off the end.
    work : tuple of int     Rows of the work points from which the climber drags it, -1 = straight below.
    """

    contact: Contact
    way: float
    held_by: str
    work: tuple[int, ...]


def rope_slip(
    tree: StructuralModel, configuration: AnchorConfiguration, loads: ConfigurationLoads
) -> RopeSlip | None:
    """Where the rope over the wanted limb comes to rest under the pulls of `loads`; None where it stays.

    Notes
    -----
    At a place with outward axis t the rope slides under a force F when F.t > mu |F - (F.t) t|, mu the low end
    of the friction on the bark: from node to node outward as long as any of the places of the climber pulls
    so. Side limbs of `catch_diameter` that do not hang down steeply stop it. A basal line pulls the limb back
    toward its base; the same friction may hold part of that, so it slides where it would under either: both
    legs alike, or the anchor leg less by exp(-mu beta).
    """
    graph, top = tree.graph, loads.contacts[-1]
    system = SYSTEMS[configuration.system]
    if system.choked:
        return None
    line = line_out(graph, int(graph.unions.node[configuration.union]), top.node)
    line = line[~tree.gone[line]]  # off the cut end of a stub as off a tip
    first = int(np.searchsorted(line, top.node)) if len(line) else 0
    if first >= len(line):
        return None
    settings = tree.settings
    mu = settings.mu_sleeve[LOW] if configuration.hardware == "sleeve" else settings.mu_bark[LOW]
    place = loads.pulls.place
    other = np.broadcast_to(
        loads.contacts[-2].point if len(loads.contacts) > 1 else np.asarray(configuration.base, float),
        place.shape,
    )
    ends = np.stack([other if system.basal else place, place], axis=1)
    share = loads.share[:, -1]
    if system.basal and settings.basal_bound == "frictionless":
        share = np.concatenate(
            [share, share * np.column_stack([np.exp(-mu * loads.turn[:, -1]), np.ones(len(share))])]
        )
        ends = np.concatenate([ends, ends])
    drags = np.zeros(len(ends), np.bool_)
    at, held = _rest(
        line[first:], top.point, graph.xyz, graph.direction, tree.stops, ends, share, mu, drags
    )
    if at < 0:
        return None
    node = int(line[first + at])
    way = float(
        np.linalg.norm(graph.xyz[line[first]] - top.point)
        + graph.length[line[first + 1 : first + at + 1]].sum()
    )
    if way < NOTABLE:
        return None
    found = at_node(graph, node, graph.xyz[node], out=top.out + way)
    rows = np.flatnonzero(drags) % len(place)
    return RopeSlip(found, way, HELD_BY[held], tuple(np.unique(loads.pulls.work[rows]).tolist()))


@njit(cache=True, error_model="numpy")
def _rest(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    line, start, xyz, direction, stops, ends, share, mu, drags,
):
    """Row of `line` at whose node the rope comes to rest, -1 where it stays at `start` on the first segment,
    and what holds it: 0 friction, 1 a side limb, 2 nothing; `drags` is set for every place of the climber that
    moves it anywhere on its way."""
    x, y, z = start
    at = -1
    while True:
        tx, ty, tz = direction[line[at + 1]]
        slides = False
        for i in range(len(ends)):
            fx, fy, fz = 0.0, 0.0, 0.0
            for leg in range(2):
                dx, dy, dz = ends[i, leg, 0] - x, ends[i, leg, 1] - y, ends[i, leg, 2] - z
                size = np.sqrt(dx * dx + dy * dy + dz * dz)
                if size > 0.0:
                    fx, fy, fz = (
                        fx + share[i, leg] * dx / size,
                        fy + share[i, leg] * dy / size,
                        fz + share[i, leg] * dz / size,
                    )
            along = fx * tx + fy * ty + fz * tz
            square = np.sqrt(max(fx * fx + fy * fy + fz * fz - along * along, 0.0))
            if along > mu * square:
                slides = drags[i] = True
        if not slides:
            return at, 0
        at += 1
        if stops[line[at]]:
            return at, 1
        if at + 1 >= len(line):
            return at, 2
        x, y, z = xyz[line[at]]
