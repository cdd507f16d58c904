"""Where do limbs join, how thick is each, and at what angle does it leave?"""

from __future__ import annotations

import numpy as np

from treescan.trees.beside import Terrain
from treescan.wood.graph import Floats, Ints, Limbs, Unions

SMALLEST_DIAMETER = 0.02
"""A union counts when a limb of at least this diameter leaves it [m] (models.md section 1)."""


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
    kids: dict[int, list[int]] = {}
    for i in range(1, len(xyz)):
        kids.setdefault(int(parent[i]), []).append(i)
    rows = []
    for node, children in kids.items():
        if len(children) < 2:
            continue
        r_parent = segment_radius[node] if node > 0 else radius[0]
        arms = [_arm(k, node, r_parent, xyz, radius, radius_sd, parent, segment_radius, limb, limbs) for k in children]
        arms = [a for a in arms if a["counts"]]
        laterals = [a for a in arms if not a["continues"]]
        if not laterals or len(arms) < 2:
            continue
        arms.sort(key=lambda a: -a["diameter"])
        flags = []
        if not all(bool(seen[a["node"]]) for a in arms):
            flags.append("bridged")
        if len(arms) >= 4:
            flags.append("whorl")
        if arms[1]["diameter"] / (2 * r_parent) >= 0.7:
            flags.append("codominant")
        rows.append((node, arms, flags))
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


def _arm(
    k: int, node: int, r_parent: float, xyz: Floats, radius: Floats, radius_sd: Floats, parent: Ints, segment_radius: Floats, limb: Ints, limbs: Limbs
) -> dict:
    """One limb above a union, measured past the flare."""
    line = limbs.nodes[limb[k]]
    line = line[np.searchsorted(line, k) :]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(xyz[np.concatenate([[node], line])], axis=0), axis=1))])[1:]

    def radius_at(s: float) -> float:
        i = min(int(np.searchsorted(along, s)), len(line) - 1)
        return float(segment_radius[line[i]])

    own = radius_at(r_parent)
    past = r_parent + 2 * own
    i = min(int(np.searchsorted(along, past)), len(line) - 1)
    j = min(int(np.searchsorted(along, past + 4 * own)), len(line) - 1)
    first, last = (xyz[line[i]], xyz[line[j]]) if j > i else (xyz[node], xyz[line[j]])
    d = (last - first) / max(float(np.linalg.norm(last - first)), 1e-9)
    back = node
    while parent[back] >= 0 and np.linalg.norm(xyz[back] - xyz[node]) < 2 * r_parent:
        back = parent[back]
    ahead = xyz[node] - xyz[back] if back != node else np.array([0.0, 0.0, 1.0])
    ahead = ahead / max(float(np.linalg.norm(ahead)), 1e-9)
    out = r_parent + 6 * own
    return {
        "node": k,
        "limb": int(limb[k]),
        "continues": bool(limb[k] == limb[node]),
        "diameter": 2 * radius_at(past),
        "sd": 2 * float(radius_sd[line[i]]),
        "attachment": float(np.arccos(np.clip(d @ ahead, -1.0, 1.0))),
        "slope": float(np.arcsin(np.clip(d[2], -1.0, 1.0))),
        "counts": bool(2 * radius_at(past) >= SMALLEST_DIAMETER and (along[-1] >= out or limb[k] == limb[node] or along[-1] > past) and 2 * radius_at(out) >= SMALLEST_DIAMETER),
    }
