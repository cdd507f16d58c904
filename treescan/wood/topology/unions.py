"""Where do limbs join, how thick is each, and at what angle does it leave?"""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.trees.beside import Terrain
from treescan.wood.graph import BRIDGED, CODOMINANT, WHORL, Floats, Ints, Limbs, Unions
from treescan.wood.topology.limbs import kids_of

SMALLEST_DIAMETER = 0.02
"""A union counts when a limb of at least this diameter leaves it [m]."""
DIAMETER, DIAMETER_SD, ATTACHMENT, SLOPE, COUNTS = range(5)
"""Columns of the table of arms: [m], [m], [rad], [rad], and 1 where the limb counts."""
ARM_FIELDS = 5
"""How many columns that table has."""
WHORL_ARMS = 4
"""Limbs from which a union is a whorl (project choice)."""
TWIN_OF_PARENT, TWIN_OF_ARM = 0.7, 0.8
"""The second limb over the parent and over the first, from which both are codominant (project choice)."""
ANGLE_OVER, BEYOND = 4, 6
"""Own radii over which the angle is read, and how many past the parent's bark a limb must still be thick enough."""


def find_unions(
    xyz: Floats,
    radius: Floats,
    radius_sd: Floats,
    seen: np.ndarray,
    parent: Ints,
    segment_radius: Floats,
    limb: Ints,
    limbs: Limbs,
    terrain: Terrain | None = None,
) -> Unions:
    """Every fork where a limb of 2 cm or more leaves, with the limbs above it measured past the flare.

    Parameters
    ----------
    xyz ... limbs           As in `WoodGraph`.
    terrain : Terrain       For the height above ground; without it, above node 0.

    Notes
    -----
    A limb counts when it still carries 2 cm at three of its own diameters from the parent's axis. Its diameter is read one parent
    radius plus one own diameter out along its main line, its slope and attachment angle between there and two own diameters further.
    """
    start, child = kids_of(np.ascontiguousarray(parent, np.int32))
    forks = np.flatnonzero(np.diff(start) >= 2)
    r_parent = np.where(forks > 0, segment_radius[forks], radius[0])
    size = np.diff(start)[forks]
    node_of, fork_of = child[_rows(start[forks], size)], np.repeat(np.arange(len(forks)), size)
    line_start = np.concatenate([[0], np.cumsum([len(x) for x in limbs.nodes])]).astype(np.int64)
    line = np.concatenate(limbs.nodes).astype(np.int64) if limbs.nodes else np.zeros(0, np.int64)
    at_in_line = np.empty(len(xyz), np.int64)
    at_in_line[line] = np.arange(len(line))
    arm = _measure_arms(
        node_of.astype(np.int64), forks[fork_of], r_parent[fork_of], np.ascontiguousarray(xyz, float), np.ascontiguousarray(segment_radius, float),
        np.ascontiguousarray(radius_sd, float), np.asarray(parent, np.int64), np.asarray(limb, np.int64), line_start, line, at_in_line,
    )  # fmt: skip
    rows = []
    for f in np.flatnonzero(np.bincount(fork_of[arm[:, COUNTS] > 0], minlength=len(forks)) >= 2):
        a, b = np.searchsorted(fork_of, [f, f + 1])
        arms = [_as_arm(arm[q], int(node_of[q]), limb, int(forks[f])) for q in range(a, b) if arm[q, COUNTS] > 0]
        if all(a["continues"] for a in arms):
            continue
        arms.sort(key=lambda a: -a["diameter"])
        rows.append((int(forks[f]), arms, _flags(arms, r_parent[f], seen)))
    ground = np.full(len(rows), xyz[0, 2])
    if terrain is not None and rows:
        found = terrain.height_at(xyz[[r[0] for r in rows], :2])
        ground = np.where(np.isfinite(found), found, ground)
    height = np.array([xyz[r[0], 2] for r in rows]) - ground
    order: list[int] = np.lexsort((np.array([r[0] for r in rows]), height)).tolist() if rows else []
    rows = [rows[i] for i in order]
    flat = [a for r in rows for a in r[1]]

    def column(name: str, kind: type) -> np.ndarray:
        return np.array([a[name] for a in flat], kind)

    at = np.array([r[0] for r in rows], np.int32)
    return Unions(
        label=tuple(f"U{i + 1:02d}" for i in range(len(rows))),
        node=at,
        place=xyz[at].reshape(-1, 3).copy(),
        height=height[order] if rows else np.zeros(0),
        parent_diameter=2 * np.where(at > 0, segment_radius[at], radius[0]),
        parent_diameter_sd=2 * radius_sd[at],
        arm_start=np.concatenate([[0], np.cumsum([len(r[1]) for r in rows])]).astype(np.int32),
        arm_node=column("node", np.int32),
        arm_limb=column("limb", np.int32),
        arm_diameter=column("diameter", float),
        arm_diameter_sd=column("sd", float),
        arm_attachment=column("attachment", float),
        arm_slope=column("slope", float),
        arm_continues=column("continues", bool),
        flags=tuple(tuple(r[2]) for r in rows),
    )


def _flags(arms: list[dict], r_parent: float, seen: np.ndarray) -> list[str]:
    """What stands out at a union, from its arms (thickest first) and its parent's radius."""
    flags = []
    if not all(bool(seen[a["node"]]) for a in arms):
        flags.append(BRIDGED)
    if len(arms) >= WHORL_ARMS:
        flags.append(WHORL)
    if arms[1]["diameter"] >= max(TWIN_OF_PARENT * 2 * r_parent, TWIN_OF_ARM * arms[0]["diameter"]):
        flags.append(CODOMINANT)
    return flags


def _rows(start: Ints, size: Ints) -> Ints:
    """All rows start[i], start[i] + 1, ... of every group, one after another."""
    first = np.repeat(start - np.concatenate([[0], np.cumsum(size)[:-1]]), size) if len(size) else np.zeros(0, np.int64)
    return np.asarray(first + np.arange(int(size.sum())), np.int64)


def _as_arm(values: Floats, node: int, limb: Ints, fork: int) -> dict:
    """One row of the arm table by name."""
    return {
        "node": node, "limb": int(limb[node]), "continues": bool(limb[node] == limb[fork]), "diameter": float(values[DIAMETER]),
        "sd": float(values[DIAMETER_SD]), "attachment": float(values[ATTACHMENT]), "slope": float(values[SLOPE]),
    }  # fmt: skip


@njit(cache=True)
def _at(place, x, y):  # type: ignore[no-untyped-def]
    """Value at a place, straight between the places given, constant beyond; NaN only where a value beside it is NaN."""
    j = np.searchsorted(x, place)
    if j <= 0:
        return y[0]
    if j >= len(x):
        return y[-1]
    f = (place - x[j - 1]) / max(x[j] - x[j - 1], 1e-12)
    return y[j] if f >= 1.0 else y[j - 1] + f * (y[j] - y[j - 1])


@njit(cache=True)
def _measure_arms(node, fork, r_parent, xyz, segment_radius, radius_sd, parent, limb, line_start, line, at_in_line):  # type: ignore[no-untyped-def]
    """Diameter, its sd, attachment, slope, counts (0 or 1) of every limb above a fork, measured past the flare. (a, 5)"""
    out = np.zeros((len(node), ARM_FIELDS))
    for q in range(len(node)):
        k, u = node[q], fork[q]
        nodes = line[at_in_line[k] : line_start[limb[k] + 1]]
        n = len(nodes)
        s, r, sd = np.empty(n), np.empty(n), np.empty(n)
        far, before = 0.0, u
        for i in range(n):
            d = xyz[nodes[i]] - xyz[before]
            far += np.sqrt(np.sum(d * d))
            s[i], r[i], sd[i], before = far, segment_radius[nodes[i]], radius_sd[nodes[i]], nodes[i]
        own = _at(r_parent[q], s, r)
        past = r_parent[q] + 2 * own
        inner = np.empty(3)
        outer = np.empty(3)
        for a in range(3):
            x = np.empty(n + 1)
            y = np.empty(n + 1)
            x[0], y[0] = 0.0, xyz[u, a]
            x[1:], y[1:] = s, xyz[nodes, a]
            inner[a], outer[a] = _at(past, x, y), _at(past + ANGLE_OVER * own, x, y)
        if s[-1] <= past:
            inner = xyz[u].copy()
        d = outer - inner
        d = d / max(np.sqrt(np.sum(d * d)), 1e-9)
        back = u
        while parent[back] >= 0 and np.sqrt(np.sum((xyz[back] - xyz[u]) ** 2)) < 2 * r_parent[q]:
            back = parent[back]
        ahead = xyz[u] - xyz[back] if back != u else np.array([0.0, 0.0, 1.0])
        ahead = ahead / max(np.sqrt(np.sum(ahead * ahead)), 1e-9)
        beyond = r_parent[q] + BEYOND * own
        reaches = s[-1] >= beyond or limb[k] == limb[u] or s[-1] > past
        out[q, DIAMETER], out[q, DIAMETER_SD] = 2 * _at(past, s, r), 2 * _at(past, s, sd)
        out[q, ATTACHMENT] = np.arccos(min(max(np.sum(d * ahead), -1.0), 1.0))
        out[q, SLOPE] = np.arcsin(min(max(d[2], -1.0), 1.0))
        thick = out[q, DIAMETER] >= SMALLEST_DIAMETER and reaches
        out[q, COUNTS] = 1.0 if thick and 2 * _at(beyond, s, r) >= SMALLEST_DIAMETER else 0.0
    return out
