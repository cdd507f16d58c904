"""How right is a tree.json, with what stands beside it, against the truth? Reads the files only."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from second_bench.making import Made
from second_bench.street import WIRE, WOOD

CLASSES = ((0.03, 0.05), (0.05, 0.10), (0.10, 0.20), (0.20, 0.40), (0.40, 9.0))
Z90 = 1.645
CLAIM = 0.25
"""Wood is claimed where its radius_sd is at most this share of its radius."""
OPTIONAL = ("stub", "sprout", "graft")
"""Unions of these are neither missed nor invented."""
CROWN_REACH = 15.0
LEAST_WIRE = 5.0


@dataclass(frozen=True)
class Score:
    """One scan judged.

    Attributes
    ----------
    row : dict               Figures of the scan, plain numbers and words.
    diameters : (n, 6)       True, claimed, claimed sd, length it stands for [m], plain 0/1, limb.
    unions : (n, 6)          Matched: true size, place off, crotch off (NaN: none) [m], angle [deg],
                             parent radius, place off along the parent [m].
    misses : tuple           Of unions: dict(kind missed or false, size, xyz local).
    """

    row: dict
    diameters: np.ndarray
    unions: np.ndarray
    misses: tuple = field(default=())


def score(made: Made, tree: dict, beside: dict | None) -> Score:
    """Judge what was read from a scan."""
    to_local = np.asarray(tree["origin"]) - made.origin
    nodes = np.array([n["xyz"] for n in tree["nodes"]]).reshape(-1, 3) + to_local
    row = {
        "name": made.recipe.name,
        "group": made.recipe.group,
        "form": made.recipe.form,
        "verdict": tree.get("quality", {}).get("verdict", "?"),
    }
    row["points_wood"] = int((made.scan.kind == WOOD).sum())
    diameters = _diameters(made, tree, nodes)
    matched, misses, counts = _unions(made, tree, to_local)
    row |= (
        counts
        | _figures(diameters)
        | _stem(made, tree, to_local)
        | _wood(made, tree, nodes)
        | _wires(made, beside, np.asarray(tree["origin"]))
    )
    return Score(row, diameters, matched, misses)


def _claims(tree):
    """Per node: claimed or not."""
    radius = np.array([n["radius"] for n in tree["nodes"]], float)
    sd = np.array([n.get("radius_sd", np.nan) for n in tree["nodes"]], float)
    seen = np.array([n.get("seen", True) for n in tree["nodes"]], bool)
    return radius, sd, seen & np.isfinite(sd) & (sd <= CLAIM * radius)


def _diameters(made, tree, nodes):
    truth = made.scene.truth
    radius, sd, claimed = _claims(tree)
    parent = np.full(len(nodes), -1)
    for s in tree["segments"]:
        parent[s["child"]] = s["parent"]
    has = claimed & (parent >= 0)
    span = nodes - nodes[np.maximum(parent, 0)]
    length = np.linalg.norm(span, axis=1)
    _, near = cKDTree(truth.axis).query(nodes, k=6)
    off = np.linalg.norm(truth.axis[near] - nodes[:, None], axis=2) / np.maximum(truth.radius[near], 0.01)
    best = near[np.arange(len(nodes)), np.argmin(off, axis=1)]
    inside = np.linalg.norm(truth.axis[best] - nodes, axis=1) < truth.radius[best] + 0.02
    ahead = np.abs((span * truth.along[best]).sum(axis=1)) > 0.8 * length
    use = np.flatnonzero(
        has & inside & ahead & (length > 0) & np.isin(truth.kind[best], ("stem", "limb", "graft"))
    )
    b = best[use]
    return np.column_stack(
        [2 * truth.radius[b], 2 * radius[use], 2 * sd[use], length[use], truth.plain[b], truth.limb[b]]
    )


def class_figures(diameters, low, high, plain=1):
    """Bias, RMSE, share inside the stated 90 % interval (all weighted by length) and length claimed, of a
    class.
    """
    d = diameters[(diameters[:, 0] >= low) & (diameters[:, 0] < high) & (diameters[:, 4] == plain)]
    if len(d) < 5:
        return None
    off = d[:, 1] / d[:, 0] - 1
    w = d[:, 3] / d[:, 3].sum()
    return {
        "bias": float(w @ off),
        "rmse": float(np.sqrt(w @ off**2)),
        "cover": float(w @ (np.abs(d[:, 1] - d[:, 0]) <= Z90 * d[:, 2])),
        "metres": float(d[:, 3].sum()),
    }


def _figures(diameters):
    out = {}
    for name, low, high in (("5", 0.05, 0.10), ("10", 0.10, 9.0)):
        f = class_figures(diameters, low, high)
        out |= {
            f"bias_{name}": f["bias"] if f else None,
            f"cover_{name}": f["cover"] if f else None,
            f"rmse_{name}": f["rmse"] if f else None,
        }
    return out


def _unions(made, tree, to_local):
    """Matched rows, misses, and counts of right, missed and false at 5 and 10 cm.

    A claimed union with several limbs above it stands for as many unions less one; where the truth's
    parent ends at a cut, its largest limb there carries it on and is asked for by no one.
    """
    true = [u for u in made.scene.truth.unions if u.size >= 0.03]
    claimed, sizes = [], []
    for u in tree.get("unions", []):
        above = sorted(u["child_diameters"], reverse=True)
        for smaller in above[1:] or above:
            claimed.append(u)
            sizes.append(smaller)
    size = np.array(sizes)
    xyz = np.array([u["xyz"] for u in claimed]).reshape(-1, 3) + to_local
    crotch = np.array([u.get("crotch") or [np.nan] * 3 for u in claimed], float).reshape(-1, 3) + to_local
    place = np.array([u.place for u in true]).reshape(-1, 3)
    onward: dict[int, int] = {}
    for a, u in enumerate(true):
        if u.onward == 0 and u.child > (true[onward[u.host]].child if u.host in onward else 0.0):
            onward[u.host] = a
    free = {a for a, u in enumerate(true) if u.kind in OPTIONAL} | set(onward.values())
    tolerance = np.array([max(0.12, u.parent) for u in true])
    pairs = []
    if true and claimed:
        gap = np.linalg.norm(place[:, None] - xyz[None], axis=2)
        ratio = size[None] / np.array([u.size for u in true])[:, None]
        wrong = (gap > tolerance[:, None]) | (ratio > 2.0) | (ratio < 0.5)
        cost = np.where(wrong, 1e3, gap / tolerance[:, None] + 0.7 * np.abs(np.log(np.maximum(ratio, 1e-3))))
        i, j = linear_sum_assignment(cost)
        pairs = [(a, b) for a, b in zip(i, j, strict=True) if not wrong[a, b]]
    of_true, of_claim = dict(pairs), {b: a for a, b in pairs}
    counts, misses = {}, []
    hits = np.bincount(made.scan.owner[made.scan.kind == WOOD], minlength=len(made.scene.limbs))
    for least in (0.05, 0.10):
        right = missed = false = unseen = 0
        for a, u in enumerate(true):
            if u.size < least or a in free:
                continue
            right += a in of_true
            missed += a not in of_true
            unseen += a not in of_true and hits[u.limb] < 30
            if a not in of_true and least == 0.05:
                near = float(np.linalg.norm(xyz - u.place, axis=1).min()) if len(xyz) else np.inf
                misses.append(
                    {
                        "what": "missed",
                        "size": u.size,
                        "parent": u.parent,
                        "angle": np.rad2deg(u.angle),
                        "xyz": u.place.tolist(),
                        "nearest": near,
                        "hits": int(hits[u.limb]),
                    }
                )
        for b in range(len(claimed)):
            if size[b] >= least and b not in of_claim and not _beside_matter(made, xyz[b]):
                false += 1
                if least == 0.05:
                    misses.append({"what": "false", "size": float(size[b]), "xyz": xyz[b].tolist()})
        n = f"{least * 100:.0f}"
        counts |= {
            f"right_{n}": int(right),
            f"missed_{n}": int(missed),
            f"false_{n}": false,
            f"unseen_{n}": int(unseen),
        }
        counts[f"f1_{n}"] = 2 * right / (2 * right + missed + false) if right + missed + false else None
    rows = []
    for a, b in pairs:
        u = true[a]
        if a in free or u.size < 0.05:
            continue
        off = xyz[b] - u.place
        axis = made.scene.limbs[u.host].tangent[made.scene.limbs[u.limb].at]
        there = np.isfinite(crotch[b]).all() and np.isfinite(u.crotch).all() and u.up > 0.2
        crotch_off = np.linalg.norm(crotch[b] - u.crotch) if there else np.nan
        rows.append((u.size, np.linalg.norm(off), crotch_off, np.rad2deg(u.angle), u.parent / 2, off @ axis))
    return np.array(rows).reshape(-1, 6), tuple(misses), counts


def _beside_matter(made, xyz):
    """Whether a claimed union lies where the truth takes no side: an optional union, or the foot of a
    clump.
    """
    truth = made.scene.truth
    if any(np.linalg.norm(u.place - xyz) < max(0.15, u.parent) for u in truth.unions if u.kind in OPTIONAL):
        return True
    if len(truth.touches) and np.linalg.norm(truth.touches - xyz, axis=1).min() < 0.2:
        return True
    if any(m.kind == "graft" and np.linalg.norm(m.xyz[-1] - xyz) < 0.3 for m in made.scene.limbs):
        return True
    low = xyz[2] - xyz[:2] @ np.asarray(made.scene.slope) < 0.6
    return bool(low and sum(m.parent < 0 for m in made.scene.limbs) > 1)


def _stem(made, tree, to_local):
    truth, stem = made.scene.truth, tree.get("stem") or {}
    out = {"stems_true": len(truth.stems)}
    told = stem.get("stems") or tree.get("stems") or ([stem] if stem.get("dbh") else [])
    dbh = [s["dbh"] for s in told if s.get("dbh")]
    out["stems_told"] = len(dbh)
    base = np.asarray(stem.get("base_xyz", [0, 0, 0]), float) + to_local
    if dbh and len(truth.stems):
        if len(dbh) == 1 and len(truth.stems) > 1:
            true = [truth.stems[np.argmin(np.hypot(*(truth.stems[:, :2] - base[:2]).T)), 2]]
        else:
            true = sorted(truth.stems[:, 2], reverse=True)[: len(dbh)]
        off = [a / b - 1 for a, b in zip(sorted(dbh, reverse=True), true, strict=False)]
        out["dbh_off"] = float(max(off, key=abs))
    if stem.get("height") is not None:
        out["top_off"] = float(base[2] + stem["height"] - truth.top)
        out["height_off"] = float(stem["height"] - truth.height)
    return out


def _wood(made, tree, nodes):
    """Metres claimed where no wood is, and the share of true wood that the graph follows."""
    truth = made.scene.truth
    _, _, claimed = _claims(tree)
    radius = np.array([n["radius"] for n in tree["nodes"]], float)
    tops, ends, real, thick = [], [], [], []
    for s in tree["segments"]:
        p, c = s["parent"], s["child"]
        length = np.linalg.norm(nodes[c] - nodes[p])
        n = max(1, round(length / 0.05))
        f = (np.arange(n) + 0.5)[:, None] / n
        tops.append((1 - f) * nodes[p] + f * nodes[c])
        ends.append(np.full(n, length / n))
        real.append(np.full(n, claimed[c]))
        thick.append(np.full(n, radius[c]))
    xyz, length, real, thick = (np.concatenate(a) for a in (tops, ends, real, thick))
    index = cKDTree(truth.axis)
    _, near = index.query(xyz, k=8)
    slack = (
        np.linalg.norm(truth.axis[near] - xyz[:, None], axis=2)
        - truth.radius[near]
        - np.maximum(0.05, 0.5 * truth.radius[near])
    )
    false = (slack.min(axis=1) > 0) & (thick >= 0.015)
    out = {
        "false_m": float(length[false & real].sum()),
        "false_unclaimed_m": float(length[false & ~real].sum()),
        "claimed_m": float(length[real & (thick >= 0.015)].sum()),
    }
    index = cKDTree(xyz)
    for name, low, high in (("5", 0.025, 0.05), ("10", 0.05, 9.0)):
        mine = (truth.radius >= low) & (truth.radius < high) & np.isin(truth.kind, ("stem", "limb"))
        if mine.sum() > 20:
            d, _ = index.query(truth.axis[mine])
            out[f"followed_{name}"] = float((d < truth.radius[mine] + 0.05).mean())
    top = truth.axis[np.isin(truth.kind, ("stem", "limb")) & (truth.radius > 0.012), 2].max()
    out["wood_top_off"] = float(xyz[:, 2].max() - top)
    return out


def _wires(made, beside, origin):
    """Length of true wires found, and cells of limbs called wires, buildings or poles."""
    out = {"wire_m": 0.0, "wire_found_m": 0.0, "limb_as_wire": 0, "limb_as_built": 0, "other_as_wire": 0}
    kinds = (beside or {}).get("kinds", [])
    cells = np.asarray((beside or {}).get("xyz", []), float).reshape(-1, 3) + origin - made.origin
    kind = np.asarray((beside or {}).get("kind", []), int)
    wire = cells[kind == kinds.index("wire")] if "wire" in kinds else np.zeros((0, 3))
    built = cells[np.isin(kind, [kinds.index(k) for k in ("building", "pole") if k in kinds])]
    cell = (beside or {}).get("cell", 0.2)
    truth = made.scene.truth
    reach = float(np.percentile(np.hypot(*truth.axis[:, :2].T), 99)) + CROWN_REACH
    found_by = cKDTree(wire) if len(wire) else None
    for k, w in enumerate(made.scene.wires):
        pts = made.scan.true[(made.scan.kind == WIRE) & (made.scan.owner == k)]
        if len(pts) < 50:
            continue
        fine = np.repeat(w.points, 1, axis=0)
        at = np.linspace(0, len(fine) - 1, 400)
        fine = np.stack([np.interp(at, np.arange(len(fine)), fine[:, j]) for j in range(3)], axis=1)
        seen, _ = cKDTree(pts).query(fine)
        mine = (np.hypot(*fine[:, :2].T) < reach) & (seen < 0.3)
        step = np.linalg.norm(fine[1] - fine[0])
        if mine.sum() * step < LEAST_WIRE:
            continue
        out["wire_m"] += float(mine.sum() * step)
        if found_by is not None:
            d, _ = found_by.query(fine[mine])
            out["wire_found_m"] += float((d < 1.5 * cell).sum() * step)
    every = np.vstack([w.points for w in made.scene.wires]) if made.scene.wires else np.full((1, 3), 1e6)
    dense = cKDTree(np.vstack([every, *(0.5 * (w.points[1:] + w.points[:-1]) for w in made.scene.wires)]))
    wood = cKDTree(truth.axis)
    for name, cells_ in (("wire", wire), ("built", built)):
        if not len(cells_):
            continue
        to_wire, _ = dense.query(cells_)
        _, near = wood.query(cells_, k=4)
        slack = (np.linalg.norm(truth.axis[near] - cells_[:, None], axis=2) - truth.radius[near]).min(axis=1)
        limb = (slack < 0.75 * cell) & ((to_wire > 3 * cell) | (name == "built"))
        out[f"limb_as_{name}"] = int(limb.sum())
        if name == "wire":
            out["other_as_wire"] = int(((to_wire > 3 * cell) & ~limb).sum())
    return out
