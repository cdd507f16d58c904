"""How near do anchor, rope, climber, throw and swing come to what must be kept away from?"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from treescan.errors import BadInput
from treescan.geometry import segment_segment
from treescan.planning.settings import Approach
from treescan.planning.tie_in_point import Clearance, Floats
from treescan.planning.work import inside
from treescan.throw.throw_path import Throw
from treescan.trees.beside import Beside, Conductor, Site

SCANNED = "a wire the scan saw (voltage unknown)"
"""Name of wires that come from the scan: loose points, perhaps only parts of the wire."""

STEPS = 24
"""Points along a straight piece at which distances to scanned wires are taken."""


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


def conductors(site: Site, beside: Beside) -> tuple[tuple[Conductor, str], ...]:
    """Drawn conductors, then wires the scan saw (as bare points, voltage unknown), each with its name."""
    out = []
    for i, c in enumerate(site.conductors):
        known = f"{c.voltage / 1e3:.3g} kV" if np.isfinite(c.voltage) else "voltage unknown"
        out.append((c, f"conductor {i + 1} ({known})"))
    wires = beside.surroundings.of("wire")
    if len(wires):
        out.append((Conductor(wires), SCANNED))
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
        limit = approach_distance(line.voltage, approach)
        flight = np.asarray(throw.path, float) if throw is not None else np.zeros((0, 3))
        parts = (
            ("tie-in point", anchor[None], anchor[None], approach.envelope),
            ("rope and climber at the work", np.broadcast_to(anchor, work.shape), work, approach.envelope),
            ("throw", flight[:-1], flight[1:], 0.0),
            ("swing after a slip", swing[:-1], swing[1:], approach.envelope),
        )
        for what, start, end, envelope in parts:
            if len(start):
                nearest = float(lines_to_conductor(start, end, line, name).min()) - envelope
                out.append(_clearance(what, name, max(nearest, 0.0), limit))
    return tuple(out)


def own_rows(approach: Approach) -> list[tuple[float, float]]:
    """The user's own table as (kilovolt, metres), lowest voltage first; BadInput when it is not made of pairs."""
    flat = approach.own_table
    if len(flat) % 2:
        raise BadInput("the approach table has a voltage without a distance", remedy="write pairs: kV, m, kV, m")
    return sorted((float(v), float(m)) for v, m in zip(flat[::2], flat[1::2], strict=True))


def lines_to_conductor(start: Floats, end: Floats, line: Conductor, name: str = "") -> Floats:
    """Shortest distance of straight pieces (n, 3) to (n, 3) to a conductor, (n,). [m]

    Exact for a drawn line. For the loose points of a scanned wire the pieces are sampled and half a step is taken off: never too
    far.
    """
    points = np.asarray(line.line, float).reshape(-1, 3)
    if name != SCANNED:
        a, b = (points, points) if len(points) == 1 else (points[:-1], points[1:])
        return segment_segment(start[:, None], end[:, None], a[None], b[None])[0].min(axis=1)
    share = np.linspace(0, 1, STEPS)[:, None, None]
    gap = cKDTree(points).query(start + share * (end - start))[0].min(axis=0)
    return np.maximum(gap - np.linalg.norm(end - start, axis=1) / (STEPS - 1) / 2, 0.0)


def _clearance(what: str, name: str, distance: float, limit: float) -> Clearance:
    breach = distance < limit
    words = f"The {what} comes within {distance:.1f} m of {name}; the approach distance used is {limit:.1f} m."
    return Clearance(what, name, distance, limit, breach, words)


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
        return "Poles stand beside the tree but no wire is in the scan or on the site plan: wires thinner than the point spacing may be missing."
    if len(wires) and not site.conductors:
        return "The scan saw wires and the site plan names none: draw them with their voltage, the scan may show only parts of them."
    return ""


def site_warnings(beside: Beside, site: Site, work: Floats, labels: tuple[str, ...], approach: Approach) -> tuple[str, ...]:
    """What concerns the whole site: missing wires, and work that itself lies near a conductor.

    Parameters
    ----------
    work : (w, 3) float     Work points. [m, local]
    """
    out = [missing_wires(beside, site)]
    for line, name in conductors(site, beside):
        gap = lines_to_conductor(work, work, line, name)
        limit = max(approach_distance(line.voltage, approach) + approach.envelope, approach.flag)
        near = np.flatnonzero(gap < limit)
        if len(near):
            worst = int(near[np.argmin(gap[near])])
            out.append(
                f"{len(near)} work point(s) lie within {limit:.1f} m of {name}, the nearest ({labels[worst]}) at "
                f"{gap[worst]:.1f} m: "
                "ask the line owner before any work there."
            )
    return tuple(w for w in out if w)
