"""Which ways of tying in are worth judging at all?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.errors import BadInput
from treescan.geometry import point_segment
from treescan.loads.limb_check import MIN_LEVER, AnchorConfiguration
from treescan.planning.candidates.contact import in_the_union, place_on_limb
from treescan.planning.settings import SYSTEMS, PlanningSettings
from treescan.planning.tie_in_point import Floats
from treescan.reason import Reason
from treescan.throw.throw_path import Throw, ThrowTable
from treescan.trees.beside import Beside
from treescan.wood.graph import Ints, WoodGraph

CLASSES = {"MRS": (1, 2), "SRS canopy": (1, 2), "SRS basal": (1, 2, 3)}
"""Isolation classes of a throw that serve a system, the best first: only a basal line may run over other
limbs."""

FALLBACK = 12
"""Unions listed when no limb is thick enough to be judged."""

BASE_HEIGHT = 1.0
"""Height of a basal anchor above the stem's foot [m] (common practice)."""

FARTHEST_BASE = 50.0
"""A drawn base farther from the stem than this is taken for a slip of the pen [m] (project choice)."""

OUTER_WORTH = 0.5
"""What the chance of a line with limbs under the climber's leg counts beside that of one without (project
choice)."""

LEAST_BASE = 0.20
"""Thinner neighbouring stems are not named as another place for a base [m] (project choice)."""

Bases = Sequence[tuple[str, Floats]]


def candidate_configurations(
    graph: WoodGraph,
    beside: Beside,
    throws: ThrowTable,
    systems: Sequence[str],
    settings: PlanningSettings,
    bases: Bases = (),
    min_lever: float = MIN_LEVER,
) -> tuple[tuple[AnchorConfiguration, Throw | None], ...]:
    """Union x system x hardware, each with the throw that sets it, or None where it is set by climbing.

    Parameters
    ----------
    systems : sequence of str   Of "MRS", "SRS canopy", "SRS basal"; empty = all three.
    min_lever : float           As in `AnchorConfiguration`.
    bases : sequence            ((name, (3,) place), ...) from `Site.bases`. Where one is drawn below the
    union, basal lines are tied to the one
        nearest to where the base leg comes down, and not to the own stem: whoever draws it means to use it,
        and of two lines over one union under one name nobody could tell which was meant.

    Notes
    -----
    Unions must carry a limb of `min_candidate_diameter` and stand at `min_candidate_height`; of these the
    `max_unions` with the largest height x limb diameter are kept, those whose wood can pass the gate first. A
    line that is thrown lies where the throw leaves it; one set by hand lies in the union, or round the stem
    above it where its limbs are too thin to bear it (see `round_the_stem`).
    """
    wanted = tuple(systems) or SYSTEMS
    for name in wanted:
        if name not in SYSTEMS:
            raise BadInput(f"rope system '{name}' is not known", remedy=f"use {', '.join(SYSTEMS)}")
    for name, place in bases:
        away = float(np.hypot(*(np.asarray(place, float)[:2] - graph.xyz[0, :2])))
        if away > FARTHEST_BASE:
            raise BadInput(
                f"the base '{name}' lies {away:.0f} m from the stem",
                remedy=f"draw it within {FARTHEST_BASE:.0f} m",
            )
    out: list[tuple[AnchorConfiguration, Throw | None]] = []
    laid = _Laid(bases, min_lever)
    for union in candidate_unions(graph, settings):
        for system in wanted:
            choked = system != "SRS basal" and round_the_stem(graph, union, settings)
            throw = None if choked else best_throw(graph, throws, union, system)
            for hardware in settings.hardware(system):
                out.append(
                    (_configuration(graph, beside, union, system, hardware, throw, settings, laid), throw)
                )
    return tuple(out)


def one_line_over(
    graph: WoodGraph,
    beside: Beside,
    throws: ThrowTable,
    union: int,
    rigged: tuple[str, str],
    settings: PlanningSettings,
    min_lever: float,
) -> tuple[AnchorConfiguration, Throw | None]:
    """One union rigged one way (system, hardware), with the throw that sets the line, None where none does."""
    system, hardware = rigged
    choked = system != "SRS basal" and round_the_stem(graph, union, settings)
    throw = None if choked else best_throw(graph, throws, union, system)
    laid = _Laid((), min_lever)
    return _configuration(graph, beside, union, system, hardware, throw, settings, laid), throw


def candidate_unions(graph: WoodGraph, settings: PlanningSettings) -> tuple[int, ...]:
    """Rows of the unions worth judging, lowest first; where none is, the few with the thickest limbs, so that
    each gets its reason."""
    u = graph.unions
    size = np.array([bearing_diameter(graph, k, settings) for k in range(len(u))])
    high = u.height >= settings.min_candidate_height
    rows = np.flatnonzero(high & (size >= settings.min_candidate_diameter))
    if len(rows) == 0:
        high_rows = np.flatnonzero(high)
        rows = high_rows[np.argsort(-size[high_rows], kind="stable")[:FALLBACK]]
    rows = one_a_whorl(graph, rows, settings)
    thin = size[rows] < settings.min_limb
    best = rows[np.lexsort((-(u.height[rows] * size[rows]), thin))[: settings.max_unions]]
    return tuple(int(k) for k in np.sort(best))


def unions_to_throw_at(graph: WoodGraph, settings: PlanningSettings) -> tuple[int, ...]:
    """Rows of the unions a line is looked for: those worth judging, and those thick and high enough to
    advance from on the way up."""
    u = graph.unions
    size = np.array([u.arm_diameter[u.laterals(k)].max(initial=0.0) for k in range(len(u))])
    steps = np.flatnonzero((size >= settings.step_limb) & (u.height >= settings.min_candidate_height))
    return tuple(sorted({*candidate_unions(graph, settings), *(int(k) for k in steps)}))


def round_the_stem(graph: WoodGraph, union: int, settings: PlanningSettings) -> bool:
    """Is the stem choked above this union rather than a limb of it used?

    As climbers do on conifers: the limbs are too thin to bear the rope, the stem goes on upright and is thick
    enough, and a stub or limb keeps the sling from sliding down.
    """
    u = graph.unions
    rows = np.arange(u.arm_start[union], u.arm_start[union + 1])
    on = rows[u.arm_continues[rows]]
    limb = float(u.arm_diameter[u.laterals(union)].max(initial=0.0))
    if len(on) == 0 or not settings.min_stub <= limb < settings.min_limb:
        return False
    stem = min(float(u.arm_diameter[on].max()), 2 * float(graph.segment_radius[u.node[union]]))
    return stem >= settings.min_limb and float(u.arm_slope[on].max()) >= settings.upright


def one_a_whorl(graph: WoodGraph, rows: Ints, settings: PlanningSettings) -> Ints:
    """The same unions without those round the stem that stand less than `whorl_gap` below another of the same
    stem: one place, one row."""
    u = graph.unions
    choked = [int(k) for k in rows if round_the_stem(graph, int(k), settings)]
    last: dict[int, float] = {}
    dropped = set()
    for k in sorted(choked, key=lambda k: -float(u.height[k])):
        stem = int(graph.limb[u.node[k]])
        if last.get(stem, np.inf) - float(u.height[k]) < settings.whorl_gap:
            dropped.add(k)
        else:
            last[stem] = float(u.height[k])
    return np.array([k for k in rows if int(k) not in dropped], rows.dtype)


def bearing_diameter(graph: WoodGraph, union: int, settings: PlanningSettings) -> float:
    """Diameter of the wood a rope at this union would bear on: its thickest lateral, or the stem where that
    is choked instead. [m]"""
    if round_the_stem(graph, union, settings):
        return 2 * float(graph.segment_radius[graph.unions.node[union]])
    return float(graph.unions.arm_diameter[graph.unions.laterals(union)].max(initial=0.0))


def best_throw(graph: WoodGraph, throws: ThrowTable, union: int, system: str) -> Throw | None:
    """The throw with the most chance among the classes a system can use; a cleaner class wins a tie.

    A basal line with limbs under the climber's leg counts half: the climber would hang from the outermost of
    them, not from the union.
    """
    found = [throws.best[union, c] for c in CLASSES[system] if (union, c) in throws.best]
    if not found:
        return None
    worth = [
        OUTER_WORTH if system == "SRS basal" and len(_sides(t, _bearing_support(graph, t))[2]) else 1.0
        for t in found
    ]
    return max(zip(found, worth, strict=True), key=lambda tw: (tw[0].chance * tw[1], -tw[0].isolation_class))[
        0
    ]


def bearing_arm(graph: WoodGraph, union: int, settings: PlanningSettings) -> int:
    """Row of the arm table a hand-set rope bears on: the thickest lateral that does not droop, else the
    thickest lateral."""
    u = graph.unions
    rows = u.laterals(union)
    level = rows[u.arm_slope[rows] >= -settings.steepest_droop]
    return int(level[0] if len(level) else rows[0])


@dataclass(frozen=True)
class _Laid:
    """How ropes are laid on this tree: drawn bases, and the least lever arm at a union."""

    bases: Bases
    min_lever: float


def _configuration(
    graph: WoodGraph,
    beside: Beside,
    union: int,
    system: str,
    hardware: str,
    throw: Throw | None,
    settings: PlanningSettings,
    laid: _Laid,
) -> AnchorConfiguration:
    if system != "SRS basal" and round_the_stem(graph, union, settings):
        node = int(graph.unions.node[union])
        return AnchorConfiguration(
            union,
            system,
            hardware,
            node,
            0.0,
            np.zeros(0, np.int32),
            _ground_below(graph, beside, graph.xyz[node]),
            min_lever=laid.min_lever,
        )
    if throw is None:
        arm = bearing_arm(graph, union, settings)
        distance = in_the_union(graph, union, arm)
        node, place = place_on_limb(graph, union, int(graph.unions.arm_node[arm]), distance)
        name, base = (
            _tied(graph, place, float(place[2]), laid.bases)
            if system == "SRS basal"
            else ("", _ground_below(graph, beside, place))
        )
        return AnchorConfiguration(union, system, hardware, node, distance, np.zeros(0, np.int32), base, name, min_lever=laid.min_lever)
    at = _bearing_support(graph, throw)
    node = _rest_node(graph, union, throw, at)
    if system == "SRS basal":
        via, side, beyond = _sides(throw, at)
        name, base = _tied(graph, side, float(throw.rest[2]), laid.bases)
        return AnchorConfiguration(
            union, system, hardware, node, float(throw.rest_distance), via, base, name, beyond, laid.min_lever
        )
    return AnchorConfiguration(
        union,
        system,
        hardware,
        node,
        float(throw.rest_distance),
        np.zeros(0, np.int32),
        np.asarray(throw.stand, float),
        min_lever=laid.min_lever,
    )


def _tied(graph: WoodGraph, side: Floats, height: float, bases: Bases) -> tuple[str, Floats]:
    """Name and place of what a basal line is tied to that comes down at `side` from a union at `height`: the
    nearest drawn base below it, or the foot of the own stem, named ""."""
    below = [(name, np.asarray(place, float)) for name, place in bases if place[2] < height - BASE_HEIGHT]
    if not below:
        return "", stem_foot(graph, side)
    return min(below, key=lambda b: float(np.hypot(*(b[1][:2] - side[:2]))))


def stem_foot(graph: WoodGraph, side: Floats) -> Floats:
    """Where a basal anchor is tied: on the bark of the own stem, a metre up, on the side of the base leg,
    (3,). [m, local]"""
    root, out = graph.xyz[0], np.asarray(side, float)[:2] - graph.xyz[0, :2]
    far = float(np.hypot(*out))
    ahead = out / far if far > 0 else np.array([1.0, 0.0])
    return np.array([*(root[:2] + ahead * graph.radius[0]), root[2] + BASE_HEIGHT])


def other_base(graph: WoodGraph, beside: Beside) -> Reason | None:
    """The nearest other stem a basal line could be tied to; None where the scan knows none thick enough."""
    s = beside.surroundings
    rows = np.flatnonzero(np.asarray(s.stem_dbh, float) >= LEAST_BASE)
    if len(rows) == 0:
        return None
    out = s.stems[rows, :2] - graph.xyz[0, :2]
    k = int(np.argmin(np.hypot(*out.T)))
    away = float(np.hypot(*out[k]))
    if away > FARTHEST_BASE:
        return None
    azimuth = float(np.arctan2(out[k, 0], out[k, 1]))
    return Reason("other_base", diameter=float(s.stem_dbh[rows[k]]), away=away, azimuth=azimuth)


def _bearing_support(graph: WoodGraph, throw: Throw) -> int:
    """Row in `throw.supports` of the wanted limb: the support nearest to where the line rests; -1 when there
    is none."""
    nodes = np.asarray(throw.supports, np.int64)
    if len(nodes) == 0:
        return -1
    gap, _ = point_segment(throw.rest, graph.xyz[graph.parent[nodes]], graph.xyz[nodes])
    return int(np.argmin(gap))


def _rest_node(graph: WoodGraph, union: int, throw: Throw, support: int) -> int:
    """The segment the rope bears on: `rest_distance` out along the wanted limb."""
    near = (
        int(throw.supports[support])
        if support >= 0
        else int(graph.unions.arm_node[graph.unions.laterals(union)[0]])
    )
    return place_on_limb(graph, union, near, throw.rest_distance)[0]


def _sides(throw: Throw, support: int) -> tuple[Ints, Floats, Ints]:
    """Supports between the union and the base anchor, a place on that side of the stem, and supports between
    the union and the climber; both from the union outward.

    The climber hangs from the side with fewer limbs under the line, the base leg gets the rest.
    """
    supports = np.asarray(throw.supports, np.int32)
    if support < 0:
        return np.zeros(0, np.int32), np.asarray(throw.stand, float), np.zeros(0, np.int32)
    near, far = supports[:support][::-1].copy(), supports[support + 1 :].copy()
    if len(near) >= len(far):
        return near, np.asarray(throw.stand, float), far
    return far, np.asarray(throw.settled[-1], float), near


def _ground_below(graph: WoodGraph, beside: Beside, place: Floats) -> Floats:
    """The ground below a place; at the height of the stem's foot where the ground is unseen."""
    z = float(beside.terrain.height_at(place[:2]))
    return np.array([place[0], place[1], z if np.isfinite(z) else graph.xyz[0, 2]])
