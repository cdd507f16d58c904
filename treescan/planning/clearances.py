"""How near do anchor, rope, climber, throw and swing come to what must be kept away from?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.geometry import point_segment, segment_segment
from treescan.planning.settings import Approach
from treescan.planning.tie_in_point import Floats
from treescan.planning.work import inside
from treescan.throw.throw_path import Throw
from treescan.trees.beside import Beside, Conductor, Site


@dataclass(frozen=True)
class Clearance:
    """One distance to one thing.

    what : "tie-in point", "throw" ...; to : in words; distance, limit [m]; breach : distance below the limit; words : a sentence.
    A clearance without breach is a distance, never a permission.
    """

    what: str
    to: str
    distance: float
    limit: float
    breach: bool
    words: str


def approach_distance(voltage: float, approach: Approach) -> float:
    """Distance within which nothing is ranked, by voltage [V]; NaN = unknown. [m]

    The line owner's own distance, where stated, replaces the table. Phase-to-phase voltage is read against the table although the
    text says "to ground": the larger distance.
    """
    if approach.owner > 0:
        return approach.owner
    if not np.isfinite(voltage):
        return approach.unknown
    return approach.gate + approach.per_10_kv * float(np.ceil(max(voltage - 50e3, 0.0) / 10e3))


def distance_to_conductor(points: Floats, conductor: Conductor) -> Floats:
    """Shortest distance of points (n, 3) to a drawn line. [m]"""
    line = np.asarray(conductor.line, float).reshape(-1, 3)
    if len(line) == 1:
        return np.linalg.norm(points - line[0], axis=1)
    gap, _ = point_segment(points[:, None], line[None, :-1], line[None, 1:])
    return gap.min(axis=1)


def ropes_to_conductor(anchor: Floats, ends: Floats, conductor: Conductor) -> Floats:
    """Shortest distance of straight ropes from one anchor to a drawn line, (n,). [m]"""
    line = np.asarray(conductor.line, float).reshape(-1, 3)
    if len(line) == 1:
        line = np.repeat(line, 2, axis=0)
    gap, _, _ = segment_segment(np.broadcast_to(anchor, (len(ends), 1, 3)), ends[:, None], line[None, :-1], line[None, 1:])
    return gap.min(axis=1)


def conductors(site: Site, beside: Beside) -> tuple[tuple[Conductor, str], ...]:
    """Drawn conductors, then wires the scan saw (as bare points, voltage unknown), each with its name."""
    out = []
    for i, c in enumerate(site.conductors):
        known = f"{c.voltage / 1e3:.3g} kV" if np.isfinite(c.voltage) else "voltage unknown"
        out.append((c, f"conductor {i + 1} ({known})"))
    wires = beside.surroundings.of("wire")
    if len(wires):
        out.append((Conductor(wires), "a wire the scan saw (voltage unknown)"))
    return tuple(out)


def electric_clearances(
    anchor: Floats, work: Floats, throw: Throw | None, swing: Floats, lines: tuple[tuple[Conductor, str], ...], approach: Approach
) -> tuple[Clearance, ...]:
    """Anchor, rope with climber, throw and swing against every conductor.

    Parameters
    ----------
    anchor : (3,) float     [m, local]
    work : (w, 3) float     Served work: the ropes run from the anchor to there. [m, local]
    swing : (k, 3) float    Swept arc, may be empty.
    """
    out = []
    for line, name in lines:
        scanned = np.asarray(line.line).reshape(-1, 3).shape[0] > 2 and "scan saw" in name
        limit = approach_distance(line.voltage, approach)

        def near(points: Floats, line: Conductor = line, scanned: bool = scanned) -> float:
            if len(points) == 0:
                return float("nan")
            if scanned:
                gap = np.linalg.norm(points[:, None] - np.asarray(line.line)[None], axis=-1)
                return float(gap.min())
            return float(distance_to_conductor(points, line).min())

        climbs = np.concatenate([anchor[None], _along(anchor, work)]) if scanned else anchor[None]
        rope = near(climbs)
        if len(work) and not scanned:
            rope = float(ropes_to_conductor(anchor, work, line).min())
        parts = [
            ("tie-in point", near(anchor[None]) - approach.envelope, limit),
            ("rope and climber at the work", rope - approach.envelope, limit),
            ("throw", near(_finer(throw.path)) if throw is not None and len(throw.path) else float("nan"), limit),
            ("swing after a slip", near(swing) - approach.envelope, limit),
        ]
        for what, distance, least in parts:
            if np.isfinite(distance):
                out.append(_clearance(what, name, max(distance, 0.0), least))
    return tuple(out)


def _clearance(what: str, name: str, distance: float, limit: float) -> Clearance:
    breach = distance < limit
    words = f"The {what} comes within {distance:.1f} m of {name}; the approach distance used is {limit:.1f} m."
    return Clearance(what, name, distance, limit, breach, words)


def _along(anchor: Floats, ends: Floats, steps: int = 8) -> Floats:
    """Points along straight ropes, for distances to scattered points."""
    share = np.linspace(0, 1, steps)[1:]
    return (anchor + share[:, None, None] * (ends - anchor)).reshape(-1, 3)


def _finer(path: Floats, step: float = 0.25) -> Floats:
    """A polyline with a point at least every `step` metres."""
    length = np.linalg.norm(np.diff(path, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(length)])
    at = np.linspace(0, along[-1], max(2, int(np.ceil(along[-1] / step)) + 1))
    return np.stack([np.interp(at, along, path[:, i]) for i in range(3)], axis=1)


def throw_crosses(throw: Throw, site: Site) -> tuple[str, ...]:
    """Drawn roads and buildings under the arc of a throw, in words."""
    path = _finer(np.asarray(throw.path, float)) if len(throw.path) > 1 else np.asarray(throw.path, float).reshape(-1, 3)
    out = []
    for rings, name in ((site.roads, "a road"), (site.buildings, "a building"), (site.no_stand, "a no-stand area")):
        if any(inside(ring, path[:, :2]).any() for ring in rings):
            out.append(f"The throw passes over {name}: close it off, or throw from another place.")
    return tuple(out)


def swing_meets(path: Floats, site: Site) -> str:
    """Drawn building a swing comes over, in words, or ""."""
    for ring in site.buildings:
        if len(path) and inside(ring, path[:, :2]).any():
            return "a drawn building"
    return ""


def missing_wires(beside: Beside, site: Site) -> str:
    """A warning where there are poles but no wires, or no wires at all are known."""
    poles, wires = beside.surroundings.of("pole"), beside.surroundings.of("wire")
    if len(poles) and not len(wires) and not site.conductors:
        return (
            "Poles stand beside the tree but no wire is in the scan or on the site plan: "
            "wires thinner than the point spacing may be missing."
        )
    if len(wires) and not site.conductors:
        return (
            "The scan saw wires and the site plan names none: draw them with their voltage, the scan may show only parts of them."
        )
    return ""
