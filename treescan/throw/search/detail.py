"""One throw worked out in full: flight, taut line, supports, what is captured, steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.throw.ballistics.flight import PIECES, flights
from treescan.throw.outcome.landing import TautLine, bag_that_runs, slice_outline, taut_line
from treescan.throw.outcome.outcome import HIT_BESIDE, HIT_LIMB, LANDED, MOST_CAPTURED, bag_lodges, classify, follow, hanging_turn, strike_on
from treescan.throw.scene.flight_scene import Scene
from treescan.throw.scene.plane import Plane, empty_plane, fill_plane
from treescan.throw.search.refine import Aim, Sample, floor_of
from treescan.throw.search.sweep import near_items
from treescan.throw.settings import METHOD_WORDS, Method, ThrowSettings
from treescan.throw.throw_path import Stances, Throw
from treescan.throw.words import throw_steps, where_to_stand
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


@dataclass(frozen=True)
class Followed:
    """One throw followed through its plane.

    plane, over (d,) crossings under the line near end first, end / s_end / hit as from `follow`, lodged, speed where it strikes a limb (0 where it
    does not) [m/s], path (k, 2) of (s, z) down to the end.
    """

    plane: Plane
    over: Ints
    end: int
    s_end: float
    hit: int
    lodged: bool
    strike: float
    path: Floats


def follow_throw(scene: Scene, feet: Floats, azimuth: float, heights: Floats, step: float) -> Followed:
    """Follow one tabulated flight from a standing place."""
    items = np.empty(len(scene.limb), np.int32)
    count = near_items(scene, feet[0], feet[1], azimuth, 1e-3, items)
    plane = empty_plane(len(scene.limb))
    fill_plane(scene, plane, feet[0], feet[1], azimuth, items, count)
    over = np.empty(MOST_CAPTURED, np.int32)
    z_hand = feet[2] + scene.release
    end, s_end, hit, n = follow(scene, plane, heights, step, z_hand, over)
    n = min(n, MOST_CAPTURED)
    lodged = bool(bag_lodges(scene, plane, heights, step, z_hand, end, s_end, hit))
    strike = float(strike_on(heights, step, s_end)) if end == HIT_LIMB else 0.0
    s = np.arange(PIECES + 1) * step
    kept = s < s_end
    path = np.column_stack([np.append(s[kept], s_end), np.append(heights[kept], np.interp(s_end, s, heights)) + z_hand])
    return Followed(plane, over[:n].copy(), int(end), float(s_end), int(hit), lodged, strike, path)


def in_space(feet: Floats, azimuth: float, points: Floats) -> Floats:
    """Plane points (k, 2) of (s, z) as local xyz (k, 3)."""
    return np.column_stack([feet[0] + points[:, 0] * np.sin(azimuth), feet[1] + points[:, 0] * np.cos(azimuth), points[:, 1]])


def representative(sample: Sample, aim: Aim, method: Method, isolation_class: int) -> Aim | None:
    """The throw of the sample nearest to the aim that comes out in this class; a better class where this one is rare.

    Returns None when no throw of the sample serves the union.
    """
    good = (sample.isolation > 0) & (sample.isolation <= isolation_class)
    exact = sample.isolation == isolation_class
    if exact.sum() >= 0.1 * good.sum():
        good = exact
    if not good.any():
        return None
    off = (
        ((sample.azimuth - aim.azimuth) / method.azimuth_sd)[:, None] ** 2
        + ((sample.elevation - aim.elevation) / method.elevation_sd) ** 2
        + ((sample.speed - aim.speed) / (method.speed_sd * aim.speed)) ** 2
    )
    a, k = np.unravel_index(int(np.where(good, off, np.inf).argmin()), good.shape)
    return Aim(float(sample.azimuth[a]), float(sample.elevation[a, k]), float(sample.speed[a, k]))


def work_out(
    graph: WoodGraph,
    scene: Scene,
    stances: Stances,
    stance: int,
    union: int,
    isolation_class: int,
    method: str,
    aim: Aim,
    chance: float,
    sample: Sample,
    settings: ThrowSettings,
) -> Throw | None:
    """The full record of the best aim; None when no throw of its sample serves the union."""
    limits, feet = settings.method(method), stances.xyz[stance]
    found = representative(sample, aim, limits, isolation_class)
    if found is None:
        return None
    azimuth = found.azimuth
    flight = flights([found.elevation], [found.speed], settings, floor_of(scene))
    flown = follow_throw(scene, feet, azimuth, flight.height[0], float(flight.step[0]))
    z_hand = float(feet[2] + scene.release)
    which, actual, workings = wanted_crossing(scene, flown, union, z_hand)
    if which < 0:
        return None
    c = int(flown.over[which])
    others, walk = _others(scene, flown, which, union)
    near = [o for o in others if flown.plane.cross[o, 0] < flown.plane.cross[c, 0]]
    far = [o for o in others if flown.plane.cross[o, 0] >= flown.plane.cross[c, 0]]
    kept = others if actual == 3 else []
    line, crossings = settled_line(scene, flown, c, kept, workings, bool(far) or flown.lodged, bool(near), z_hand)
    item = int(flown.plane.cross_item[c])
    along = float(scene.near[item] + flown.plane.cross[c, 4] * (scene.far[item] - scene.near[item]))
    slides = bool(scene.slope[item] > np.arctan(settings.friction))
    rest_distance = min(along, float(graph.unions.parent_diameter[union]) / 2) if slides else along
    names = {o: crossing_name(graph, scene, int(flown.plane.cross_item[o])) for o in others}
    wanted_top = float(flown.plane.cross[c, 2])
    wood_in_plane = int(np.sum(flown.plane.cross_item[: flown.plane.counts[1]] >= 0))
    over_crown = flown.end == LANDED and int(np.sum(flown.plane.cross_item[flown.over] >= 0)) == wood_in_plane
    steps = throw_steps(
        place=where_to_stand(feet, graph.xyz[0]),
        method=METHOD_WORDS[method],
        azimuth=aim.azimuth,
        elevation=aim.elevation,
        speed=aim.speed,
        bias=(limits.azimuth_bias, limits.elevation_bias, limits.speed_bias),
        apex=float(flown.path[:, 1].max() - feet[2]),
        out=flown.s_end if flown.end == LANDED else None,
        union=graph.unions.label[union],
        height=wanted_top - float(feet[2]),
        isolation_class=actual,
        near=[names[o] for o in near],
        far=[names[o] for o in far],
        lodged=flown.lodged,
        walk_round=walk,
        over_crown=over_crown,
        strikes=crossing_name(graph, scene, int(flown.plane.item[flown.hit])) if flown.end == HIT_LIMB else None,
        back_at_thrower=flown.s_end if not flown.lodged and flown.s_end < settings.near_thrower else None,
        slides=slides,
        rest_distance=rest_distance,
    )
    items = [int(flown.plane.cross_item[crossings[k]]) for k in line.order]
    limbs = [int(scene.limb[flown.plane.cross_item[o]]) for o in others if flown.plane.cross_item[o] >= 0]
    highest = max([wanted_top, *(float(flown.plane.cross[o, 2]) for o in kept)])
    return Throw(
        union=union,
        isolation_class=isolation_class,
        stance=stance,
        stand=feet.copy(),
        method=method,
        azimuth=float(aim.azimuth % (2 * np.pi)),
        elevation=aim.elevation,
        speed=aim.speed,
        chance=chance,
        path=in_space(feet, azimuth, flown.path),
        settled=in_space(feet, azimuth, line.points),
        rest=_rest_place(graph, scene, item, union, rest_distance, in_space(feet, azimuth, flown.plane.cross[[c]][:, [0, 2]])[0], slides),
        rest_distance=rest_distance,
        slides=slides,
        supports=np.array([int(scene.node[i]) for i in items if i >= 0], np.int32),
        captured=np.array(list(dict.fromkeys(limbs)), np.int32),
        captured_unions=tuple(dict.fromkeys(_union_of_limb(graph, limb) for limb in dict.fromkeys(limbs))),
        workings=workings,
        min_weight=bag_that_runs(scene.line, highest - z_hand, scene.rough, hanging_turn(_extent(flown, [c, *kept]), highest - z_hand)),
        steps=steps,
        pace=(limits.seconds_setup, limits.seconds_throw, limits.seconds_working),
        over_crown=over_crown,
    )


def wanted_crossing(scene: Scene, flown: Followed, union: int, z_hand: float) -> tuple[int, int, int]:
    """Index into `over` of the best crossing of this union, its class and workings; -1 when there is none, or the bag strikes something too hard."""
    best = (-1, 9, 0)
    if flown.end == HIT_BESIDE or flown.strike > scene.strike:
        return best
    for m, c in enumerate(flown.over):
        item = flown.plane.cross_item[c]
        if item < 0 or scene.union[item] != union:
            continue
        k, workings = classify(scene, flown.plane, flown.over, len(flown.over), m, flown.s_end, flown.lodged, z_hand)
        if 0 < k < best[1]:
            best = (m, int(k), int(workings))
    return best


def _others(scene: Scene, flown: Followed, which: int, union: int) -> tuple[list[int], bool]:
    """Crossings between the legs besides the wanted one, near end first, and whether the stem below must be walked round."""
    c = int(flown.over[which])
    item = int(flown.plane.cross_item[c])
    out, walk = [], False
    for o in flown.over:
        j = int(flown.plane.cross_item[o])
        if o == c:
            continue
        if j >= 0 and scene.limb[j] == 0 and scene.node[j] <= scene.stem_node[union]:
            walk = True
            continue
        gap = abs(flown.plane.cross[o, 0] - flown.plane.cross[c, 0])
        if j >= 0 and scene.limb[j] == scene.limb[item] and gap <= 2 * (flown.plane.cross[o, 3] + flown.plane.cross[c, 3]):
            continue
        out.append(int(o))
    return out, walk


def settled_line(
    scene: Scene, flown: Followed, wanted: int, kept: list[int], workings: int, from_far: bool, from_near: bool, z_hand: float
) -> tuple[TautLine, list[int]]:
    """The taut line after all workings, and the crossing of each obstacle it was laid over.

    A leg that was worked hangs plumb beside the wanted limb; otherwise it runs to the hand or to where the bag came down.
    """
    crossings = sorted([wanted, *kept], key=lambda o: flown.plane.cross[o, 0])
    c = flown.plane.cross[wanted]
    away = c[3] + scene.bag_radius + scene.clearance
    near_end = (c[0] - away, z_hand) if workings and from_near else (0.0, z_hand)
    ground = float(np.interp(flown.s_end, np.arange(len(flown.plane.ground)) * 0.5, flown.plane.ground))
    far_end = (flown.s_end, ground if flown.end == LANDED or (flown.end == HIT_LIMB and not flown.lodged) else float(flown.path[-1, 1]))
    if workings and from_far:
        far_end = (c[0] + away, float(np.interp(c[0] + away, np.arange(len(flown.plane.ground)) * 0.5, flown.plane.ground)))
    outlines = [_outline(scene, flown.plane, o) for o in crossings]
    return taut_line(near_end, far_end, outlines), crossings


def _extent(flown: Followed, crossings: list[int]) -> float:
    """From the nearest to the farthest of some crossings. [m]"""
    return float(np.ptp(flown.plane.cross[crossings, 0]))


def _outline(scene: Scene, plane: Plane, crossing: int) -> Floats:
    """Outline of the limb (or thing) at one crossing in the plane."""
    item = int(plane.cross_item[crossing])
    if item < 0:
        s, _, top, half, _ = plane.cross[crossing]
        return np.array([[s - half, top], [s, top], [s + half, top]])
    k = int(np.flatnonzero(plane.item[: plane.counts[0]] == item)[0])
    s0, z0, n0, s1, z1, n1 = plane.shape[k, 4:10]
    return slice_outline((s0, z0, n0), (s1, z1, n1), float(scene.r_start[item]), float(scene.r_end[item]))


def _rest_place(graph: WoodGraph, scene: Scene, item: int, union: int, rest_distance: float, thrown: Floats, slides: bool) -> Floats:
    """Where the line bears: the top of the limb where it was thrown, or beside the parent's bark once it has slid in."""
    if not slides:
        return thrown
    rows = np.flatnonzero((scene.union == union) & (scene.limb == scene.limb[item]) & (scene.far >= rest_distance - 1e-9))
    i = int(rows[np.argmin(scene.near[rows])]) if len(rows) else item
    length = max(float(scene.far[i] - scene.near[i]), 1e-9)
    t = float(np.clip((rest_distance - scene.near[i]) / length, 0.0, 1.0))
    d = (scene.end[i] - scene.start[i]) / length
    up = np.array([0.0, 0.0, 1.0]) - d[2] * d
    size = float(np.linalg.norm(up))
    radius = scene.r_start[i] + t * (scene.r_end[i] - scene.r_start[i])
    return np.asarray(scene.start[i] + t * (scene.end[i] - scene.start[i]) + (radius * up / size if size > 1e-6 else 0.0))


def _union_of_limb(graph: WoodGraph, limb: int) -> str:
    """Label of the union a limb leaves from; the stem: "the stem"; too thin to make a union: "thin limbs"."""
    if limb == 0:
        return "the stem"
    u = graph.unions
    rows = np.flatnonzero((u.arm_limb == limb) & ~u.arm_continues)
    if len(rows) == 0:
        return "thin limbs"
    return u.label[int(np.searchsorted(u.arm_start, rows[0], side="right") - 1)]


def crossing_name(graph: WoodGraph, scene: Scene, item: int) -> str:
    """A limb (row of the scene) in words, by the union it leaves."""
    if item < 0:
        return "what stands beside the tree"
    label = _union_of_limb(graph, int(scene.limb[item]))
    return label if label.startswith(("the ", "thin ")) else f"the limb from {label}"
