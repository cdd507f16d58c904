"""How near do anchor, rope, climber, throw and swing come to what must be kept away from?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.errors import BadInput
from treescan.geometry import inside
from treescan.planning.reach.wood_boxes import closest
from treescan.planning.settings import Approach
from treescan.planning.tie_in_point import Clearance, Floats
from treescan.reason import Reason
from treescan.throw.throw_path import Throw
from treescan.trees.beside import Beside, Site


@dataclass(frozen=True)
class Line:
    """One conductor as straight pieces.

    start, end : (p, 3) float   A scanned wire's are single places: the centres of the voxels it was seen in, perhaps only part of it. [m, local]
    room : float                It may lie nearer than these by so much. [m]
    voltage : float             NaN = unknown. [V]
    name : Reason
    """

    start: Floats
    end: Floats
    room: float
    voltage: float
    name: Reason


def approach_distance(voltage: float, approach: Approach) -> float:
    """Distance within which nothing is ranked, by voltage [V]; NaN = unknown. [m]

    The line owner's own distance, where stated, replaces everything; then comes the user's own table, then the rule for voltages
    above it. Phase-to-phase voltage is read against the rule although the text says "to ground": the larger distance.
    """
    if approach.owner > 0:
        return approach.owner
    if not np.isfinite(voltage):
        return approach.unknown
    for kilovolt, metres in own_rows(approach):
        if voltage <= kilovolt * 1e3:
            return metres
    return approach.gate + approach.per_10_kv * float(np.ceil(max(voltage - 50e3, 0.0) / 10e3))


def conductors(site: Site, beside: Beside) -> tuple[Line, ...]:
    """Drawn conductors, then wires the scan saw: these may lie anywhere in their voxels."""
    out = []
    for i, c in enumerate(site.conductors):
        known = bool(np.isfinite(c.voltage))
        called = {"number": i + 1, "name": c.name or None}
        name = (
            Reason("conductor_drawn", voltage=c.voltage, **called)
            if known
            else Reason("conductor_of_unknown_voltage", **called)
        )
        place = np.asarray(c.line, float).reshape(-1, 3)
        start, end = (place, place) if len(place) == 1 else (place[:-1].copy(), place[1:].copy())
        out.append(Line(start, end, 0.0, c.voltage, name))
    wires, room = beside.surroundings.of("wire"), beside.surroundings.cell * np.sqrt(0.75)
    volts = site.wire_volts(wires)
    if (unknown := np.isnan(volts)).any():
        out.append(Line(wires[unknown], wires[unknown], room, float("nan"), Reason("wire_seen")))
    for v in np.unique(volts[volts > 0]):
        at = wires[volts == v]
        out.append(Line(at, at, room, float(v), Reason("wire_stated", voltage=float(v))))
    return tuple(out)


def claimed_wires(beside: Beside, site: Site) -> Floats:
    """Places (k, 3) where the scan alone claims a wire: nobody said what it is."""
    wires = beside.surroundings.of("wire")
    return wires[np.isnan(site.wire_volts(wires))]


def wires_said(beside: Beside, site: Site) -> tuple[Reason, ...]:
    """What was said of wires the scan saw, as `beside` came from the scan."""
    wires = beside.surroundings.of("wire")
    volts = site.wire_volts(wires)
    return tuple(
        Reason("wires_said", places=int((volts == v).sum()), voltage=float(v) or None)
        for v in np.unique(volts[np.isfinite(volts)])
    )


def clearances_at(anchor: Floats, work: Floats, swing: Floats, lines: tuple[Line, ...], approach: Approach) -> tuple[Clearance, ...]:
    """Anchor, rope with climber, and swing against every conductor.

    Parameters
    ----------
    anchor : (3,) float     [m, local]
    work : (w, 3) float     Served work: the ropes run from the anchor to there. [m, local]
    swing : (k, 3) float    Swept arc, may be empty.
    """
    parts = (
        ("tie-in point", anchor[None], anchor[None]),
        ("rope and climber", np.broadcast_to(anchor, work.shape), work),
        ("swing after slip", swing[:-1], swing[1:]),
    )
    return tuple(_clearance(what, start, end, approach.envelope, line, approach) for line in lines for what, start, end in parts if len(start))


def clearances_of_base_leg(leg: Floats, lines: tuple[Line, ...], approach: Approach) -> tuple[Clearance, ...]:
    """The leg of a basal line from the union down to what it is tied to, (k, 3), against every conductor."""
    return tuple(_clearance("base leg", leg[:-1], leg[1:], 0.0, line, approach) for line in lines)


def clearances_of_throw(throw: Throw | None, lines: tuple[Line, ...], approach: Approach) -> tuple[Clearance, ...]:
    """A throw's flight against every conductor: no climber hangs on it."""
    if throw is None or len(throw.path) < 2:
        return ()
    path = np.asarray(throw.path, float)
    return tuple(_clearance("throw", path[:-1], path[1:], 0.0, line, approach) for line in lines)


def own_rows(approach: Approach) -> list[tuple[float, float]]:
    """The user's own table as (kilovolt, metres), lowest voltage first; BadInput when it is not made of pairs."""
    flat = approach.own_table
    if len(flat) % 2:
        raise BadInput("the approach table has a voltage without a distance", remedy="write pairs: kV, m, kV, m")
    return sorted((float(v), float(m)) for v, m in zip(flat[::2], flat[1::2], strict=True))


def distances(start: Floats, end: Floats, line: Line) -> Floats:
    """Shortest distance of straight pieces (n, 3) to (n, 3) to a conductor, (n,): exact for a drawn one, never too far for a scanned one. [m]"""
    gap = _nearest(np.ascontiguousarray(start), np.ascontiguousarray(end), line.start, line.end, False)
    return np.maximum(gap - line.room, 0.0)


@njit(cache=True, error_model="numpy")
def _nearest(p, q, a, b, together):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Distance of every piece p-q (n,) to the nearest of the pieces a-b; those whose balls are farther than the best so far are passed over.

    With `together` only the least of all is asked: it is the last value.
    """
    out = np.full(len(p), np.inf)
    middle, half = 0.5 * (a + b), np.empty(len(a))
    for j in range(len(a)):
        half[j] = 0.5 * np.sqrt(np.sum((b[j] - a[j]) ** 2))
    for i in range(len(p)):
        x, y, z = 0.5 * (p[i, 0] + q[i, 0]), 0.5 * (p[i, 1] + q[i, 1]), 0.5 * (p[i, 2] + q[i, 2])
        own = 0.5 * np.sqrt((q[i, 0] - p[i, 0]) ** 2 + (q[i, 1] - p[i, 1]) ** 2 + (q[i, 2] - p[i, 2]) ** 2)
        best = out[i - 1] if together and i > 0 else np.inf
        for j in range(len(a)):
            room = best + own + half[j]
            if (middle[j, 0] - x) ** 2 + (middle[j, 1] - y) ** 2 + (middle[j, 2] - z) ** 2 < room * room:
                best = min(best, closest(p[i], q[i], a[j], b[j])[0])
        out[i] = best
    return out


def _clearance(what: str, start: Floats, end: Floats, envelope: float, line: Line, approach: Approach) -> Clearance:
    """The nearest of some pieces to a conductor, `envelope` kept free round them."""
    limit = approach_distance(line.voltage, approach)
    nearest = _nearest(np.ascontiguousarray(start), np.ascontiguousarray(end), line.start, line.end, True)[-1]
    distance = max(float(nearest) - line.room - envelope, 0.0)
    words = Reason("clearance", what=what, to=line.name, distance=distance, limit=limit)
    return Clearance(what, line.name, distance, limit, distance < limit, words)


def _finer(path: Floats, step: float = 0.25) -> Floats:
    """A polyline with a point at least every `step` metres."""
    length = np.linalg.norm(np.diff(path, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(length)])
    at = np.linspace(0, along[-1], max(2, int(np.ceil(along[-1] / step)) + 1))
    return np.stack([np.interp(at, along, path[:, i]) for i in range(3)], axis=1)


def throw_crosses(throw: Throw, site: Site) -> tuple[Reason, ...]:
    """Drawn roads, buildings and no-stand areas under the arc of a throw."""
    path = _finer(np.asarray(throw.path, float)) if len(throw.path) > 1 else np.asarray(throw.path, float).reshape(-1, 3)
    order = ("road", "building", "no_stand_area")
    crossed = [a for a in site.areas() if a.kind in order and inside(a.ring, path[:, :2]).any()]
    found = dict.fromkeys((a.kind, a.name) for a in sorted(crossed, key=lambda a: order.index(a.kind)))
    return tuple(Reason("throw_passes_over", what=kind, name=name or None) for kind, name in found)


def swings_over_building(path: Floats, site: Site) -> bool:
    """True where the swept arc of a swing, (k, 3), comes over a drawn building."""
    return any(len(path) and inside(ring, path[:, :2]).any() for ring in site.buildings)


def missing_wires(beside: Beside, site: Site) -> tuple[Reason, ...]:
    """A warning where there are poles but no wires, neither in the scan, nor drawn, nor said."""
    poles, wires = beside.surroundings.of("pole"), beside.surroundings.of("wire")
    if len(poles) and not len(wires) and not site.conductors and not np.isfinite(site.wires):
        return (Reason("poles_without_wires"),)
    return ()


def site_warnings(beside: Beside, site: Site, work: Floats, labels: tuple[str, ...], approach: Approach) -> tuple[Reason, ...]:
    """What concerns the whole site: missing wires, and work that itself lies near a conductor.

    Parameters
    ----------
    work : (w, 3) float     Work points. [m, local]
    """
    out = list(missing_wires(beside, site))
    for line in conductors(site, beside):
        gap = distances(work, work, line)
        limit = max(approach_distance(line.voltage, approach) + approach.envelope, approach.flag)
        near = np.flatnonzero(gap < limit)
        if len(near):
            worst = int(near[np.argmin(gap[near])])
            nearest = float(gap[worst])
            out.append(Reason("work_near_conductor", points=len(near), limit=limit, conductor=line.name, work=labels[worst], distance=nearest))
    return tuple(out)
