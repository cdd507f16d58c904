"""If this fails, what goes with it, where does the rope go, how far does the climber fall, and does the next
limb hold?

A rope fixed at the ground forms a loop over its supports. When one is lost the loop shrinks to the shortest
way left, and every limb that
pierces the surface it sweeps stays inside: the outermost of them catch. A rope fixed at the union or with
both ends at the climber has no such loop and goes with the limb.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numba import njit

from treescan.geometry import unit, upper_hull
from treescan.loads.limb_check import UNKNOWN, Catch
from treescan.loads.pull.shock import arrest_force, sharing_length, stretch
from treescan.loads.rope.contacts import Contact, at_node, supports_of
from treescan.loads.rope.rope_run import RopeRun, taut_rope
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import StructuralModel
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
class Hold:
    """What last held the climber.

    climber : (3,) float    Where they hung. [m]
    taken : float           Work that limbs which broke since then took out of the fall. [J]
    """

    climber: Floats
    taken: float = 0.0


@dataclass(frozen=True)
class Fall:
    """From one suspension to the next.

    suspension : Suspension or None     None: nothing catches before the ground.
    run : RopeRun or None   The rope over the new supports, climber hanging plumb.
    slide : float           Along the catching limb before the rope stays. [m]
    drop : float            Of the climber since the last hold, to the hanging place or the ground. [m]
    sideways : float        Travel of the climber in plan, to the hanging place. [m]
    peak : float            Rope force that stops the fall; NaN at the ground. [N]
    stretch : float         Of the rope under that force, counted long; NaN at the ground. [m]
    feet : float            Height of the climber's feet above the ground then; below 0 they strike it. NaN at
        the ground. [m]
    fallen_past : bool      The rope lies like this only because the climber falls past a limb.
    """

    suspension: Suspension | None
    run: RopeRun | None
    slide: float
    drop: float
    sideways: float
    peak: float
    stretch: float
    feet: float
    fallen_past: bool


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
    xyz,
    parent,
    radius,
    gone,
    corner,
    e1,
    e2,
    least,
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


@dataclass(frozen=True)
class Support:
    """One place where the rope comes to bear, or goes on bearing, once something is lost.

    contact : Contact
    slide : float       Along the limb before the rope stays; 0 for one that stays. [m]
    fallen_past : bool  The rope comes to lie on it only because the climber falls past it.
    """

    contact: Contact
    slide: float = 0.0
    fallen_past: bool = False


def next_supports(
    tree: StructuralModel, gone: np.ndarray, suspension: Suspension, base: Floats
) -> list[Support]:
    """Supports left or found once everything `gone` is lost, in rope order.

    A limb that a kept contact already bears on is not counted a second time where the rope sweeps away from
    it. Where nothing lies in the loop, a climber who falls sweeps the rope down as well: a limb below comes
    to carry it if the climber passes beside it.
    """
    kept: list[Support] = []
    lost: list[Floats] = []
    before = base
    for c in (*suspension.contacts, None):
        if c is not None and gone[c.node]:
            lost.append(c.point)
            continue
        after = suspension.climber if c is None else c.point
        if lost:
            beside = [*(k.contact for k in kept[-1:]), *([] if c is None else [c])]
            found = _caught(tree, gone, before, [*lost, after], beside)
            if not found and not kept and c is None:
                low = np.array([*after[:2], min(tree.ground_below(after), after[2])])
                found = [
                    replace(k, fallen_past=True) for k in _caught(tree, gone, before, [after, low], beside)
                ]
            kept += found
            lost = []
        if c is not None:
            kept.append(Support(c))
            before = c.point
    return kept


def _caught(
    tree: StructuralModel, gone: np.ndarray, before: Floats, fan: Sequence[Floats], beside: Sequence[Contact]
) -> list[Support]:
    """Limbs in the loop on which the shrinking rope rests, from `before` to the last of `fan`: the upper hull
    of what it holds, without those that a contact `beside` already bears on."""
    graph, s, settings = tree.graph, tree.sections, tree.settings
    found = [pierced(graph, gone, before, p, q, settings.catch_diameter) for p, q in pairwise(fan)]
    nodes, points = np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])
    resting: dict[int, Support] = {}
    for node, point in zip(nodes, points, strict=True):
        at = settle(graph, int(node), point, settings.mu_bark, s.counted, s.point)
        if at is None or gone[at[0].node] or any(_same_place(graph, at[0], c) for c in beside):
            continue
        resting.setdefault(at[0].node, Support(*at))
    rest = list(resting.values())
    if not rest:
        return []
    after = fan[-1]
    along = unit(after - before)
    peak = np.mean(fan[:-1], axis=0) - before
    up = unit(peak - (peak @ along) * along)
    place = np.array(
        [
            [
                (k.contact.point - before) @ along,
                (k.contact.point - before) @ up + np.nan_to_num(k.contact.radius),
            ]
            for k in rest
        ]
    )
    return [rest[i] for i in _resting_on(place, float(np.linalg.norm(after - before)))]


def _same_place(graph: WoodGraph, a: Contact, b: Contact) -> bool:
    """True for two contacts of one limb less than its diameter apart: the rope lies there once."""
    if graph.limb[a.node] != graph.limb[b.node]:
        return False
    return a.node == b.node or float(np.linalg.norm(a.point - b.point)) < 2 * np.nan_to_num(b.radius)


def _resting_on(place: Floats, span: float) -> list[int]:
    """Rows of the points (k, 2) on the taut line from (0, 0) to (span, 0) over them, in order."""
    order = np.lexsort((place[:, 1], place[:, 0]))
    order = order[place[order, 1] > 0]
    chain = upper_hull(np.concatenate([[[0.0, 0.0]], place[order], [[span, 0.0]]]))
    return [int(order[i - 1]) for i in chain[1:-1]]


def fall(
    suspension: Suspension,
    supports: Sequence[Support],
    base: Floats,
    rope: float,
    ground: Callable[[Floats], float],
    settings: LoadSettings,
    since: Hold | None = None,
) -> Fall:
    """The climber's fall onto the new supports on a rope of `rope` metres, not stretched, from the base anchor.

    Parameters
    ----------
    suspension : Suspension Before.
    supports : sequence     Left or found, in rope order.
    base : (3,) float; rope : float     [m]
    ground : callable       Height of the ground below a point (3,). [m]
    since : Hold or None    What last held the climber, from which the fall is counted; None: `suspension`.

    Notes
    -----
    All height lost since the last hold, less what broken limbs took out, is taken to load the rope: F = W +
    sqrt(W^2 + 2 W h K / L), L the rope that can stretch, counted short: the force errs high. The lowest point is told with F L / K over the whole rope, as if no friction held any
    of it back: the stretch errs long.
    """
    weight, none = settings.climber_mass * G, float("nan")
    start = suspension.climber if since is None else since.climber
    taken = 0.0 if since is None else since.taken
    nothing = Fall(
        None, None, 0.0, float(start[2] - ground(suspension.climber)), 0.0, none, none, none, False
    )
    if not supports:
        return nothing
    contacts = tuple(k.contact for k in supports)
    run, end, left = _hung(base, rope, contacts)
    drop = float(start[2] - end[2])
    # no rope rises by itself: it cannot come to lie like this
    if left <= 0 or suspension.climber[2] - end[2] < -ROUNDING:
        return nothing
    sideways = float(np.linalg.norm(end[:2] - start[:2]))
    slide, past = max(k.slide for k in supports), any(k.fallen_past for k in supports)
    there = ground(end)
    if end[2] - settings.harness_to_feet <= there:
        return Fall(None, run, slide, max(float(start[2] - there), 0.0), sideways, none, none, none, past)
    stretching = sharing_length(float(run.leg[-1]), run.leg[-2::-1], run.turn[::-1], max(settings.mu_bark))
    loading = max(drop - taken / weight, 0.0)
    peak = float(arrest_force(weight, settings.rope_modulus, loading, max(stretching, 0.3)))
    longer = float(stretch(peak, rope, settings.rope_modulus))
    feet = float(end[2] - longer - settings.harness_to_feet - there)
    return Fall(Suspension(contacts, end), run, slide, drop, sideways, peak, longer, feet, past)


def _hung(base: Floats, rope: float, contacts: Sequence[Contact]) -> tuple[RopeRun, Floats, float]:
    """The rope over its contacts with the climber hanging plumb from the last one's side on what is left of
    it: the run, the rope's end (3,) and the rope left, 0 or less where it is too short. [m]"""
    bars = supports_of(contacts)
    end = contacts[-1].point - np.array([0.0, 0.0, 1.0 + contacts[-1].radius])
    run = taut_rope(base, end, bars, hung=True)
    left = 0.0
    for _ in range(20):
        left = rope - (run.length - float(np.linalg.norm(end - run.leave[-1])))
        moved = run.leave[-1] - np.array([0.0, 0.0, left]) - end
        if left <= 0:
            break
        end = end + moved
        run = taut_rope(base, end, bars, hung=True)
        if np.abs(moved).max() < 1e-10:
            break
    return run, end, left


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
