"""If this fails, what goes with it, where does the rope go, how far does the climber fall, and does the next
limb hold?

A rope fixed at the ground forms a loop over its supports. When one is lost the loop shrinks to the shortest
way left, and every limb that
pierces the surface it sweeps stays inside: the outermost of them catch. A rope fixed at the union or with
both ends at the climber has no such loop and goes with the limb.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numba import njit

from treescan.geometry import unit, upper_hull
from treescan.loads.limb_check import UNKNOWN, Catch
from treescan.loads.rope.contacts import Contact, at_node, supports_of
from treescan.loads.rope.rope_run import RopeRun, taut_rope
from treescan.loads.rope.shock import arrest_force, sharing_length, stretch
from treescan.loads.settings import LoadSettings
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats, Ints, WoodGraph


@njit(cache=True)
def carried(parent: Ints, node: int) -> np.ndarray:  # pragma: no cover - compiled
    """True for `node` and every node it carries, (n,)."""
    out = np.zeros(len(parent), np.bool_)
    out[node] = True
    for i in range(node + 1, len(parent)):
        out[i] = out[parent[i]]
    return out


LONGEST = 6
"""Catches followed before the chain is said to end at the ground."""

ROUNDING = 1e-6
"""A rope that would have to lift the climber by more than this was not understood [m]: nothing is said to
catch."""

@dataclass(frozen=True)
class Suspension:
    """The rope and the climber at one moment.

    contacts : tuple of Contact     Rope order from the base; the one next to the climber last.
    climber : (3,) float            [m]
    """

    contacts: tuple[Contact, ...]
    climber: Floats


@dataclass(frozen=True)
class Fall:
    """From one suspension to the next.

    suspension : Suspension or None     None: nothing catches before the ground.
    run : RopeRun or None   The rope over the new supports, climber hanging plumb.
    slide : float           Along the catching limb before the rope stays. [m]
    drop : float            Of the climber, to the hanging place or the ground. [m]
    sideways : float        Travel of the climber in plan, to the hanging place. [m]
    peak : float            Rope force that stops the fall; NaN at the ground. [N]
    stretch : float         Of the rope under that force, counted long; NaN at the ground. [m]
    feet : float            Height of the climber's feet above the ground then; below 0 they strike it. NaN at
        the ground. [m]
    """

    suspension: Suspension | None
    run: RopeRun | None
    slide: float
    drop: float
    sideways: float
    peak: float
    stretch: float
    feet: float


@njit(cache=True)
def common_node(parent: Ints, a: int, b: int) -> int:  # pragma: no cover - compiled
    """The highest node on both ways to the ground."""
    while a != b:
        if a > b:
            a = parent[a]
        else:
            b = parent[b]
    return a


def pierced(
    graph: WoodGraph, gone: np.ndarray, corner: Floats, a: Floats, b: Floats, least: float = 0.0
) -> tuple[np.ndarray, Floats]:
    """Segments still standing that pierce a triangle, as child nodes (k,) and points (k, 3) on their axes;
    thinner ones than the diameter `least` are passed over. [m]"""
    place = _piercing(
        graph.xyz, graph.parent, graph.segment_radius, gone, corner, a - corner, b - corner, least / 2
    )
    node = np.flatnonzero(np.isfinite(place))
    foot = graph.xyz[graph.parent[node]]
    return node, foot + place[node, None] * (graph.xyz[node] - foot)


@njit(cache=True, error_model="numpy")
def _piercing(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    xyz, parent, radius, gone, corner, e1, e2, least,
):
    """Share of every segment (n,) at which it pierces the triangle (Moeller and Trumbore), NaN where it does
    not."""
    out = np.full(len(parent), np.nan)
    for i in range(1, len(parent)):
        if gone[i] or radius[i] < least:
            continue
        j = parent[i]
        dx, dy, dz = xyz[i, 0] - xyz[j, 0], xyz[i, 1] - xyz[j, 1], xyz[i, 2] - xyz[j, 2]
        px, py, pz = dy * e2[2] - dz * e2[1], dz * e2[0] - dx * e2[2], dx * e2[1] - dy * e2[0]
        det = px * e1[0] + py * e1[1] + pz * e1[2]
        if abs(det) <= 1e-14:
            continue
        tx, ty, tz = xyz[j, 0] - corner[0], xyz[j, 1] - corner[1], xyz[j, 2] - corner[2]
        u = (tx * px + ty * py + tz * pz) / det
        if u < 0 or u > 1:
            continue
        qx, qy, qz = ty * e1[2] - tz * e1[1], tz * e1[0] - tx * e1[2], tx * e1[1] - ty * e1[0]
        v = (dx * qx + dy * qy + dz * qz) / det
        w = (qx * e2[0] + qy * e2[1] + qz * e2[2]) / det
        if v >= 0 and u + v <= 1 and 0 <= w < 1:
            out[i] = w
    return out


def settle(
    graph: WoodGraph, node: int, point: Floats, mu: Sequence[float], counted: np.ndarray, bark: Floats
) -> tuple[Contact, float] | None:
    """Where a rope that lands on a limb stays: there, or slid down into its union; None if it may slide off
    the end.

    Returns the contact and the slide along the limb. [m] Of the friction `mu` (low, middle, high) the low end
    has to hold the rope where it would else be lost; where it would slide into the union, held there all the
    same, the middle is told.
    """
    rise = float(np.arcsin(np.clip(graph.direction[node, 2], -1.0, 1.0)))
    surely = float(np.arctan(mu[0]))
    if (graph.limb[node] == 0 and abs(rise) > surely) or rise < -surely:
        return None
    if rise <= np.arctan(mu[1]):
        return at_node(graph, node, point), 0.0
    line = graph.limbs.nodes[graph.limb[node]]
    first = next((int(i) for i in line if counted[i]), int(line[0]))
    if first >= node:
        return at_node(graph, node, point), 0.0
    own = float(graph.segment_radius[first])
    rest = bark[first] + (graph.xyz[first] - bark[first]) * min(
        1.0, own / max(float(np.linalg.norm(graph.xyz[first] - bark[first])), 1e-9)
    )
    inner = line[(line > first) & (line < node)]
    slid = float(
        np.linalg.norm(graph.xyz[first] - rest)
        + graph.length[inner].sum()
        + np.linalg.norm(point - graph.xyz[graph.parent[node]])
    )
    return at_node(graph, first, rest), slid


def next_supports(
    graph: WoodGraph,
    gone: np.ndarray,
    suspension: Suspension,
    base: Floats,
    settings: LoadSettings,
    counted: np.ndarray,
    bark: Floats,
) -> list[tuple[Contact, float]]:
    """Supports left or found once everything `gone` is lost, in rope order, each with its slide (0 for one
    that stays)."""
    kept: list[tuple[Contact, float]] = []
    lost: list[Floats] = []
    before = base
    for c in (*suspension.contacts, None):
        if c is not None and gone[c.node]:
            lost.append(c.point)
            continue
        after = suspension.climber if c is None else c.point
        if lost:
            kept += _caught(graph, gone, before, lost, after, settings, counted, bark)
            lost = []
        if c is not None:
            kept.append((c, 0.0))
            before = c.point
    return kept


def _caught(
    graph: WoodGraph,
    gone: np.ndarray,
    before: Floats,
    lost: Sequence[Floats],
    after: Floats,
    settings: LoadSettings,
    counted: np.ndarray,
    bark: Floats,
) -> list[tuple[Contact, float]]:
    """Limbs in the loop on which the shrinking rope rests, from `before` to `after`: the upper hull of what
    it holds."""
    fan = [*lost, after]
    found = [pierced(graph, gone, before, p, q, settings.catch_diameter) for p, q in pairwise(fan)]
    nodes, points = np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])
    resting: dict[int, tuple[Contact, float]] = {}
    for node, point in zip(nodes, points, strict=True):
        at = settle(graph, int(node), point, settings.mu_bark, counted, bark)
        if at is not None and not gone[at[0].node]:
            resting.setdefault(at[0].node, at)
    rest = list(resting.values())
    if not rest:
        return []
    along = unit(after - before)
    peak = np.mean(lost, axis=0) - before
    up = unit(peak - (peak @ along) * along)
    place = np.array(
        [[(c.point - before) @ along, (c.point - before) @ up + np.nan_to_num(c.radius)] for c, _ in rest]
    )
    return [rest[i] for i in _resting_on(place, float(np.linalg.norm(after - before)))]


def _resting_on(place: Floats, span: float) -> list[int]:
    """Rows of the points (k, 2) on the taut line from (0, 0) to (span, 0) over them, in order."""
    order = np.lexsort((place[:, 1], place[:, 0]))
    order = order[place[order, 1] > 0]
    chain = upper_hull(np.concatenate([[[0.0, 0.0]], place[order], [[span, 0.0]]]))
    return [int(order[i - 1]) for i in chain[1:-1]]


def fall(
    suspension: Suspension,
    supports: Sequence[tuple[Contact, float]],
    base: Floats,
    rope: float,
    ground: Callable[[Floats], float],
    settings: LoadSettings,
) -> Fall:
    """The climber's fall onto the new supports on a rope of `rope` metres from the base anchor.

    Parameters
    ----------
    suspension : Suspension Before.
    supports : sequence     Contacts left or found, in rope order, with the slide of each.
    base : (3,) float; rope : float     [m]
    ground : callable       Height of the ground below a point (3,). [m]

    Notes
    -----
    All height lost is taken to load the rope: F = W + sqrt(W^2 + 2 W h K / L), L the rope that can stretch,
    counted short: the force errs high. The lowest point is told with F L / K over the whole rope, as if no
    friction held any of it back: the stretch errs long.
    """
    weight, none = settings.climber_mass * G, float("nan")
    nothing = Fall(
        None, None, 0.0, float(suspension.climber[2] - ground(suspension.climber)), 0.0, none, none, none
    )
    if not supports:
        return nothing
    contacts = tuple(c for c, _ in supports)
    bars = supports_of(contacts)
    last = contacts[-1].point
    end = last - np.array([0.0, 0.0, 1.0 + contacts[-1].radius])
    run = taut_rope(base, end, bars, hung=True)
    for _ in range(20):  # the leg hangs plumb from the limb's side and takes what is left of the rope
        left = rope - (run.length - float(np.linalg.norm(end - run.leave[-1])))
        moved = run.leave[-1] - np.array([0.0, 0.0, left]) - end
        if left <= 0:
            break
        end = end + moved
        run = taut_rope(base, end, bars, hung=True)
        if np.abs(moved).max() < 1e-10:
            break
    drop = float(suspension.climber[2] - end[2])
    if left <= 0 or drop < -ROUNDING:  # no rope rises by itself: it cannot come to lie like this
        return nothing
    sideways = float(np.linalg.norm(end[:2] - suspension.climber[:2]))
    slide = max(s for _, s in supports)
    there = ground(end)
    if end[2] - settings.harness_to_feet <= there:
        return Fall(
            None, run, slide, max(float(suspension.climber[2] - there), 0.0), sideways, none, none, none
        )
    stretching = sharing_length(float(run.leg[-1]), run.leg[-2::-1], run.turn[::-1], max(settings.mu_bark))
    peak = float(arrest_force(weight, settings.rope_modulus, max(drop, 0.0), max(stretching, 0.3)))
    longer = float(stretch(peak, rope, settings.rope_modulus))
    feet = float(end[2] - longer - settings.harness_to_feet - there)
    return Fall(Suspension(contacts, end), run, slide, drop, sideways, peak, longer, feet)


def label_of(graph: WoodGraph, node: int) -> tuple[int | None, str]:
    """Union (row and label) of the limb a node belongs to."""
    u = graph.unions
    row = np.flatnonzero((u.arm_limb == graph.limb[node]) & ~u.arm_continues)
    if len(row) == 0:
        return None, f"limb {graph.limb[node]}"
    k = int(np.searchsorted(u.arm_start, row[0], side="right")) - 1
    return k, u.label[k]


def to_ground(drop: float, reason: Reason) -> Catch:
    """The end of the chain."""
    return Catch(None, "ground", 0.0, drop, float("nan"), UNKNOWN, reason)
