"""tree.json, both ways: the wood graph on disk, with what is beside the tree in files next to it."""

from __future__ import annotations

import json
import os
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from treescan.arrays import Floats, Floats32, Ints, Ints32
from treescan.atomic import whole_file, write_text
from treescan.cautions import all_cautions
from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput
from treescan.reason import Reason, as_plain, from_plain
from treescan.trees.beside import KINDS, Beside, Foliage, Surroundings, Terrain
from treescan.wood.graph import Limbs, ScanFitness, StemFigures, TracedTree, Unions, WoodGraph
from treescan.wood.quality.stem_figures import stem_figures
from treescan.wood.topology.limbs import label_limbs
from treescan.wood.topology.unions import find_unions

FORMAT, VERSION = "treescan-tree", 1
MOST_OVAL = 2.5
"""Longest over shortest width of a section that is still taken for one limb (project choice)."""
FRAME_KEYS = ("unit_m", "vertical_unit_m", "up", "file_crs", "in_degrees")


def write_tree(traced: TracedTree, path: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write tree.json and the three files beside it; return all four paths, tree.json last."""
    path = Path(path)
    names = {"terrain": "terrain.json", "foliage": "foliage.npz", "surroundings": "surroundings.json"}
    if path.stem != "tree":
        names = {key: f"{path.stem}_{name}" for key, name in names.items()}
    folder, b = path.parent, traced.beside
    write_text(folder / names["terrain"], json.dumps(_terrain_out(b.terrain)))
    with whole_file(folder / names["foliage"]) as part:
        arrays: dict[str, NDArray] = {"density": b.foliage.density, "corner": b.foliage.corner, "cell": np.array(b.foliage.cell)}
        arrays["cautions"] = np.array(all_cautions())
        if traced.preview is not None:
            arrays["preview"] = traced.preview
        _save_arrays(part, arrays)
    write_text(folder / names["surroundings"], json.dumps(_surroundings_out(b.surroundings)))
    write_text(path, json.dumps({**tree_out(traced), "beside": names}))
    return (*tuple(folder / name for name in names.values()), path)


def tree_out(traced: TracedTree) -> dict[str, Any]:
    """The content of tree.json (lengths in metres, angles in degrees), without the files beside it."""
    g = traced.graph
    return {
        "format": FORMAT,
        "version": VERSION,
        "units": "m",
        "crs": traced.frame.crs,
        "origin": traced.frame.origin.tolist(),
        "cautions": list(all_cautions()),
        "source": traced.source,
        "frame": {name: getattr(traced.frame, name) for name in FRAME_KEYS},
        "nodes": [
            {"id": i, "xyz": p, "radius": r, "radius_sd": _or_null(sd), "arc_deg": _or_null(a), "seen": s, **_oval_out(q, d)}
            for i, (p, r, sd, a, s, q, d) in enumerate(
                zip(
                    g.xyz.tolist(),
                    g.radius.tolist(),
                    g.radius_sd.tolist(),
                    _degrees(g.arc).tolist(),
                    g.seen.tolist(),
                    g.oval.tolist(),
                    g.oval_dir.tolist(),
                    strict=True,
                )
            )
        ],
        "segments": [
            {"parent": p, "child": c, "radius": r, "limb": k}
            for c, (p, r, k) in enumerate(zip(g.parent.tolist(), g.segment_radius.tolist(), g.limb.tolist(), strict=True))
            if c > 0
        ],
        "limbs": [
            {"id": k, "parent_limb": None if p < 0 else p, "order": o, "nodes": nodes.tolist()}
            for k, (p, o, nodes) in enumerate(zip(g.limbs.parent.tolist(), g.limbs.order.tolist(), g.limbs.nodes, strict=True))
        ],
        "unions": [_union_out(g.unions, k) for k in range(len(g.unions))],
        "stem": {
            "base_xyz": traced.stem.base.tolist(),
            "dbh": _or_null(traced.stem.dbh),
            "dbh_sd": _or_null(traced.stem.dbh_sd),
            "height": _or_null(traced.stem.height),
            "wood_volume": _or_null(traced.stem.wood_volume),
            "lean_deg": _or_null(float(_degrees(traced.stem.lean))),
        },
        "quality": {
            "verdict": traced.fitness.verdict,
            "reasons": list(traced.fitness.reasons),
            "bands": [dict(b) for b in traced.fitness.bands],
            "limbs": [dict(b) for b in traced.fitness.limbs],
            "notes": [as_plain(note) for note in traced.notes],
        },
    }


def read_tree(path: str | os.PathLike[str]) -> TracedTree:
    """Read a tree.json: our own, a researcher's or a hand-made one.

    Without `beside` the tree stands alone and leafless on level ground at the height of node 0. Missing limbs and unions are derived.
    Raises BadInput, naming the file and the fault.
    """
    path = Path(path)
    data = _json(path)
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise BadInput(
            f"is not a {FORMAT} file (its 'format' key says so)", file=str(path), remedy="give a point cloud or a tree.json"
        )
    if data.get("version") != VERSION:
        raise BadInput(f"has version {data.get('version')!r}, this treescan reads version {VERSION}", file=str(path))
    if data.get("units", "m") != "m":
        raise BadInput(f"is in {data['units']!r}", file=str(path), remedy="write lengths in metres and units 'm'")
    beside, preview = _beside_in(data, path)
    return tree_in(data, beside, str(path), preview)


def tree_in(data: dict[str, Any], beside: Beside | None, file: str, preview: Floats32 | None = None) -> TracedTree:
    """A `TracedTree` from the content of a tree.json and what stands beside it (None: level ground, alone, leafless)."""
    try:
        return _tree_in(data, beside, file, preview)
    except BadInput:
        raise
    except (KeyError, TypeError, ValueError, IndexError) as err:
        what = f"key {err} is missing" if isinstance(err, KeyError) else f"a value does not fit ({err})"
        raise BadInput(what, file=file, remedy="see 'tree.json' in README for the keys it must have") from err


def _tree_in(data: dict[str, Any], beside: Beside | None, file: str, preview: Floats32 | None) -> TracedTree:
    nodes, segments = data["nodes"], data.get("segments", [])
    if not nodes:
        raise BadInput("has no nodes", file=file)
    n = len(nodes)
    row = {node["id"]: i for i, node in enumerate(nodes)}
    if len(row) != n:
        raise BadInput("has two nodes with the same id", file=file)
    parent, seg_radius, seg_limb = np.full(n, -1, np.int32), np.full(n, np.nan), np.full(n, -1, np.int32)
    for s in segments:
        if s["child"] not in row or s["parent"] not in row:
            raise BadInput(f"segment {s['parent']} -> {s['child']} names a node that is not there", file=file)
        c = row[s["child"]]
        if parent[c] >= 0 or c == 0:
            raise BadInput(
                f"node {s['child']} has two parents" if c else "the first node must be the stem base and have no parent",
                file=file,
            )
        parent[c] = row[s["parent"]]
        seg_radius[c], seg_limb[c] = s.get("radius", np.nan), -1 if s.get("limb") is None else s["limb"]
    order = _parents_first(parent, file)
    new = np.empty(n, np.int32)
    new[order] = np.arange(n)
    parent = np.where(parent[order] >= 0, new[parent[order]], -1).astype(np.int32)
    picked = [nodes[i] for i in order]
    xyz = np.array([p["xyz"] for p in picked], float).reshape(n, 3)
    radius = np.array([p["radius"] for p in picked], float)
    if not np.isfinite(xyz).all() or not np.all(radius > 0):
        raise BadInput("has a node without finite coordinates or with a radius that is not above zero", file=file)
    sd = np.array([_number(p.get("radius_sd")) for p in picked])
    arc = np.radians([_number(p.get("arc_deg")) for p in picked])
    seen = np.array([p.get("seen", True) is not False for p in picked])
    oval, oval_dir = _ovals_in(picked, file)
    seg_radius, seg_limb = seg_radius[order], seg_limb[order]
    seg_radius = np.where(np.isfinite(seg_radius), seg_radius, radius)
    if beside is None:
        beside = Beside(Terrain.flat(float(xyz[0, 2]), xyz[0, :2]))
    limb, limbs = _limbs_in(data, parent, seg_limb, file) if "limbs" in data and n > 1 else label_limbs(xyz, seg_radius, parent)
    unions = find_unions(xyz, radius, sd, seen, parent, seg_radius, limb, limbs, beside.terrain)
    if "unions" in data:
        unions = _unions_in(data["unions"], unions, {key: int(new[i]) for key, i in row.items()}, xyz, n, file)
    graph = WoodGraph(xyz, radius, sd, arc, seen, parent, seg_radius, limb, limbs, unions, oval, oval_dir)
    along = np.linalg.norm(np.cross(graph.oval_dir[1:], graph.direction[1:]), axis=1) < 0.2
    if np.any(wrong := along & (oval[1:] > 1)):
        raise BadInput(f"the oval_dir of node {picked[1 + int(np.argmax(wrong))]['id']} lies along the limb", file=file, remedy="give it across the limb")
    own = data.get("frame") or {}
    frame = Frame(
        np.array(data.get("origin", (0.0, 0.0, 0.0)), float), data.get("crs"), **{k: own[k] for k in FRAME_KEYS if k in own}
    )
    quality = data.get("quality") or {}
    fitness = ScanFitness(
        quality.get("verdict", "assessable"), tuple(quality.get("reasons", ())), tuple(quality.get("bands", ())), tuple(quality.get("limbs", ()))
    )
    stem = _stem_in(data.get("stem"), graph, beside.terrain)
    return TracedTree(graph, beside, frame, stem, fitness, data.get("source", file), _notes_in(quality), preview)


def _notes_in(quality: dict[str, Any]) -> tuple[Reason, ...]:
    """The notes; a plain sentence, as older files have it, stays as it is written."""
    return tuple(Reason("own_words", words=n) if isinstance(n, str) else from_plain(n) for n in quality.get("notes", ()))


def _oval_out(ratio: float, along: list[float]) -> dict[str, Any]:
    """Keys of an oval section; none of a round one."""
    return {"oval": ratio, "oval_dir": along} if ratio != 1.0 else {}


def _ovals_in(nodes: list[dict[str, Any]], file: str) -> tuple[Floats, Floats]:
    """Longest over shortest width and the direction of the longest, (n,), (n, 3); 1 and 0 where a node states none."""
    oval, along = np.ones(len(nodes)), np.zeros((len(nodes), 3))
    for i, node in enumerate(nodes):
        ratio = node.get("oval")
        if ratio is None or ratio == 1:
            continue
        oval[i], along[i] = ratio, node["oval_dir"]
        size = float(np.linalg.norm(along[i]))
        if not 1.0 < oval[i] <= MOST_OVAL or not 0 < size < np.inf:
            raise BadInput(
                f"node {node['id']} has an oval of {ratio!r} along {node['oval_dir']!r}",
                file=file,
                remedy=f"give the longest over the shortest width, 1 to {MOST_OVAL:g}, and the direction of the longest as [x, y, z]",
            )
        if abs(size - 1.0) > 1e-3:
            along[i] /= size
    return oval, along


def _parents_first(parent: Ints32, file: str) -> Ints:
    """An order in which parents stand before their children; the given one where it already does."""
    if np.all(parent[1:] < np.arange(1, len(parent))) and np.all(parent[1:] >= 0):
        return np.arange(len(parent))
    loose = np.flatnonzero(parent[1:] < 0)
    if len(loose):
        raise BadInput(
            f"{len(loose)} node(s) hang on nothing (the first in row {loose[0] + 1})",
            file=file,
            remedy="every node but the first needs a segment to its parent",
        )
    kids: list[list[int]] = [[] for _ in parent]
    for i, p in enumerate(parent):
        if p >= 0:
            kids[p].append(i)
    order, k = [0], 0
    while k < len(order):
        order.extend(kids[order[k]])
        k += 1
    if len(order) != len(parent):
        raise BadInput("its segments form a loop", file=file)
    return np.array(order)


def _limbs_in(
    data: dict[str, Any], parent: Ints32, seg_limb: Ints32, file: str
) -> tuple[Ints32, Limbs]:
    """The limbs as the file numbers them, checked: every limb one chain."""
    given = {x["id"]: x for x in data["limbs"]}
    limb = seg_limb.copy()
    limb[0] = 0
    ids = sorted(given)
    if ids != list(range(len(ids))) or np.any(limb < 0) or np.any(limb >= len(ids)):
        raise BadInput(
            "limb ids must run from 0 and every segment must name its limb",
            file=file,
            remedy="or leave 'limbs' out to have them derived",
        )
    first = np.full(len(ids), -1, np.int32)
    last = np.full(len(ids), -1, np.int32)
    last[0] = 0
    chain: list[list[int]] = [[] for _ in ids]
    chain[0] = [0]
    for i in range(1, len(parent)):
        k = limb[i]
        if first[k] < 0 and k > 0:
            first[k] = i
        elif parent[i] != last[k]:
            raise BadInput(f"limb {k} is not one unbranched chain", file=file)
        last[k] = i
        chain[k].append(i)
    if np.any(last < 0):
        raise BadInput(f"limb {int(np.argmax(last < 0))} has no segment", file=file)
    derived = np.array([-1 if k == 0 else limb[parent[first[k]]] for k in ids], np.int32)
    order = np.array([given[k].get("order", 0) for k in ids], np.int32)
    return limb, Limbs(derived, order, tuple(np.array(c, np.int32) for c in chain))


def _unions_in(
    given: list[dict[str, Any]], derived: Unions, new: dict[Any, int], xyz: Floats, n: int, file: str
) -> Unions:
    """The file's own unions: which there are, their labels, flags and sizes; what it does not state is taken from the graph."""
    labels = [u["id"] for u in given]
    if len(set(labels)) != len(labels):
        raise BadInput("has two unions with the same id", file=file)
    row = {int(node): k for k, node in enumerate(derived.node)}
    arms: dict[str, list[Any]] = {
        name: [] for name in ("node", "limb", "diameter", "diameter_sd", "attachment", "slope", "continues")
    }
    start, nodes, heights, pd, pd_sd, flags, kept, places = [0], [], [], [], [], [], [], []
    for u in given:
        if u["node"] not in new:
            raise BadInput(f"union {u['id']} stands on node {u['node']!r}, which is not there", file=file)
        node = new[u["node"]]
        k = row.get(node)
        listed = u.get("arms")
        if listed is not None:
            table = [
                (
                    new[a["node"]],
                    a["limb"],
                    a["diameter"],
                    _number(a.get("diameter_sd")),
                    np.radians(a["attachment_deg"]),
                    np.radians(a["slope_deg"]),
                    a["continues"],
                )
                for a in listed
            ]
        elif k is not None:
            table = _stated_arms(u, derived, k)
        else:
            continue
        for a in table:
            for name, value in zip(arms, a, strict=True):
                arms[name].append(value)
        start.append(start[-1] + len(table))
        kept.append(u["id"])
        nodes.append(node)
        places.append(u.get("xyz", xyz[node]))
        heights.append(u["height"] if "height" in u else derived.height[k] if k is not None else xyz[node, 2] - xyz[0, 2])
        pd.append(u["parent_diameter"] if "parent_diameter" in u else derived.parent_diameter[k])
        pd_sd.append(
            _number(u["parent_diameter_sd"])
            if "parent_diameter_sd" in u
            else derived.parent_diameter_sd[k]
            if k is not None
            else np.nan
        )
        flags.append(tuple(u.get("flags", derived.flags[k] if k is not None else ())))
    return Unions(
        tuple(kept),
        np.array(nodes, np.int32),
        np.array(places, float).reshape(-1, 3),
        np.array(heights, float),
        np.array(pd, float),
        np.array(pd_sd, float),
        np.array(start, np.int32),
        np.array(arms["node"], np.int32),
        np.array(arms["limb"], np.int32),
        np.array(arms["diameter"], float),
        np.array(arms["diameter_sd"], float),
        np.array(arms["attachment"], float),
        np.array(arms["slope"], float),
        np.array(arms["continues"], bool),
        tuple(flags),
    )


def _stated_arms(u: dict[str, Any], derived: Unions, k: int) -> list[tuple]:
    """Arms of one union from the graph, with the diameters and angles the file states put over them."""
    rows = np.arange(len(derived.arm_node))[derived.arms(k)]
    diameters = list(derived.arm_diameter[rows])
    if len(u.get("child_diameters", ())) == len(rows):
        diameters = list(u["child_diameters"])
    attachment, slope = list(derived.arm_attachment[rows]), list(derived.arm_slope[rows])
    for key, target in (("attachment_deg", attachment), ("limb_slope_deg", slope)):
        stated = u.get(key)
        if isinstance(stated, list) and len(stated) == len(rows):
            target[:] = np.radians(stated)
        elif isinstance(stated, (int, float)):
            target[-1] = np.radians(stated)
    return [
        (derived.arm_node[r], derived.arm_limb[r], d, derived.arm_diameter_sd[r], a, s, derived.arm_continues[r])
        for r, d, a, s in zip(rows, diameters, attachment, slope, strict=True)
    ]


def _union_out(u: Unions, k: int) -> dict[str, Any]:
    rows = u.arms(k)
    return {
        "id": u.label[k],
        "node": int(u.node[k]),
        "xyz": u.place[k].tolist(),
        "height": float(u.height[k]),
        "parent_diameter": float(u.parent_diameter[k]),
        "parent_diameter_sd": _or_null(float(u.parent_diameter_sd[k])),
        "child_diameters": u.arm_diameter[rows].tolist(),
        "aspect_ratio": u.aspect_ratio(k),
        "attachment_deg": _degrees(u.arm_attachment[rows]).tolist(),
        "limb_slope_deg": _degrees(u.arm_slope[rows]).tolist(),
        "flags": list(u.flags[k]),
        "arms": [
            {
                "node": int(u.arm_node[r]),
                "limb": int(u.arm_limb[r]),
                "diameter": float(u.arm_diameter[r]),
                "diameter_sd": _or_null(float(u.arm_diameter_sd[r])),
                "attachment_deg": float(_degrees(u.arm_attachment[r])),
                "slope_deg": float(_degrees(u.arm_slope[r])),
                "continues": bool(u.arm_continues[r]),
            }
            for r in range(rows.start, rows.stop)
        ],
    }


def _stem_in(stem: dict[str, Any] | None, graph: WoodGraph, terrain: Terrain) -> StemFigures:
    derived = stem_figures(graph, terrain)
    if not stem:
        return derived

    def stated(key: str, fallback: float) -> float:
        return fallback if key not in stem else _number(stem[key])

    lean = np.radians(stated("lean_deg", float(_degrees(derived.lean))))
    return StemFigures(
        np.array(stem.get("base_xyz", derived.base), float),
        stated("dbh", derived.dbh),
        stated("dbh_sd", derived.dbh_sd if "dbh" not in stem else float("nan")),
        stated("height", derived.height),
        stated("wood_volume", derived.wood_volume),
        float(lean),
    )


def _terrain_out(t: Terrain) -> dict[str, Any]:
    rows = np.where(np.isfinite(t.height), t.height, np.inf).tolist()
    return {
        "format": "treescan-terrain",
        "version": 1,
        "cautions": list(all_cautions()),
        "corner": t.corner.tolist(),
        "cell": t.cell,
        "height": [[None if v == np.inf else v for v in r] for r in rows],
        "measured": t.measured.astype(int).tolist(),
    }


def _surroundings_out(s: Surroundings) -> dict[str, Any]:
    return {
        "format": "treescan-surroundings",
        "version": 1,
        "cautions": list(all_cautions()),
        "kinds": list(KINDS),
        "cell": s.cell,
        "xyz": s.xyz.tolist(),
        "kind": s.kind.tolist(),
        "stems": s.stems.tolist(),
        "stem_dbh": [_or_null(v) for v in s.stem_dbh.tolist()],
    }


def _beside_in(data: dict[str, Any], path: Path) -> tuple[Beside | None, Floats32 | None]:
    names = data.get("beside")
    if not names:
        return None, None
    folder = path.parent
    t = _json(folder / names["terrain"], needed_by=path)
    s = _json(folder / names["surroundings"], needed_by=path)
    foliage_path = folder / names["foliage"]
    try:
        with np.load(foliage_path, allow_pickle=False) as z:
            foliage = Foliage(z["density"], z["corner"], float(z["cell"]))
            preview = z.get("preview", None)
        terrain = Terrain(
            np.array([[np.nan if v is None else v for v in r] for r in t["height"]], float),
            np.array(t["corner"], float),
            float(t["cell"]),
            np.array(t["measured"], bool),
        )
        kind_of = np.array([KINDS.index(k) if k in KINDS else KINDS.index("unknown") for k in s["kinds"]], np.uint8)
        surroundings = Surroundings(
            np.array(s["xyz"], float).reshape(-1, 3),
            kind_of[np.array(s["kind"], int)] if s["kind"] else np.zeros(0, np.uint8),
            float(s["cell"]),
            np.array(s["stems"], float).reshape(-1, 3),
            np.array([_number(v) for v in s["stem_dbh"]], float),
        )
    except (OSError, KeyError, ValueError, IndexError, TypeError, zipfile.BadZipFile) as err:
        raise BadInput(
            f"a file beside it cannot be read ({err})",
            file=str(path),
            remedy="keep tree.json together with the files it was written with",
        ) from err
    return Beside(terrain, foliage, surroundings), preview


def _json(path: Path, needed_by: Path | None = None) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as err:
        remedy = f"{needed_by} needs it; keep them together" if needed_by else None
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path), remedy=remedy) from err
    except (UnicodeDecodeError, json.JSONDecodeError) as err:
        raise BadInput(f"is not valid JSON ({err})", file=str(path)) from err


def _save_arrays(path: Path, arrays: dict[str, NDArray]) -> None:
    """An npz with fixed time stamps, so that the same tree gives the same bytes."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as z:
        for name, array in arrays.items():
            info = zipfile.ZipInfo(f"{name}.npy", date_time=(1980, 1, 1, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            with z.open(info, "w") as out:
                np.lib.format.write_array(out, np.asanyarray(array), allow_pickle=False)


def _degrees(angle: ArrayLike) -> Floats:
    """Radians as degrees with nine decimals: enough for any use, and the same after any number of round trips."""
    return np.asarray(np.round(np.degrees(angle), 9), np.float64)


def _or_null(x: float) -> float | None:
    return x if np.isfinite(x) else None


def _number(x: Any) -> float:
    return float("nan") if x is None else float(x)
