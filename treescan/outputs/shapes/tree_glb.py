"""tree.glb: stem and limbs as tapered tubes coloured by use of capacity, unseen wood grey, anchors as markers."""

from __future__ import annotations

from typing import Any

import numpy as np
import trimesh

from treescan.assess import Assessment
from treescan.cautions import all_cautions
from treescan.outputs.shapes.tubes import Run, rings, runs, thinned, tube_faces
from treescan.outputs.shapes.use_of_capacity import LEGEND, greatest_use, shade_of
from treescan.outputs.strict_json import place
from treescan.outputs.text.say import text
from treescan.outputs.text.wording import file_name
from treescan.planning.tie_in_point import TieInPoint

Y_UP = np.array([[1.0, 0, 0, 0], [0, 0, 1.0, 0], [0, -1.0, 0, 0], [0, 0, 0, 1.0]])
"""glTF has y up: x stays east, z becomes y, north becomes -z."""
MARKER, MARKER_UNRANKED = "#10324d", "#f4efe4"
VERTICES, INDICES = 34962, 34963
"""Buffer targets of the glTF 2.0 specification."""
FINE_ORDER = 3
"""Limbs of this order and up share one mesh per colour, to keep the file light."""


def scene_bytes(a: Assessment) -> bytes:
    """The scene as binary glTF, the same bytes for the same assessment."""
    graph, scene = a.tree.graph, trimesh.Scene()
    shade = shade_of(greatest_use(graph, a.points), graph.seen)
    materials = [_material(s.words, s.colour) for s in LEGEND]
    for (name, row), parts in sorted(_groups(graph, shade).items()):
        mesh = _joined(parts)
        mesh.visual = trimesh.visual.TextureVisuals(material=materials[row])
        _put(scene, mesh, name, np.eye(4))
    ranked, unranked = (
        _material(text("scene_ranked"), MARKER),
        _material(text("scene_unranked"), MARKER_UNRANKED),
    )
    for union, points in _by_union(a).items():
        usable = [p for p in points if p.usable]
        first = usable[0] if usable else points[0]
        radius = 0.16 if usable else 0.09
        marker = trimesh.creation.icosphere(subdivisions=2, radius=radius)
        marker.visual = trimesh.visual.TextureVisuals(material=ranked if usable else unranked)
        name = _marker_name(first)
        at = np.eye(4)
        at[:3, 3] = graph.unions.rope_place(union)
        _put(scene, marker, name, at)
    extras = {
        "units": "m",
        "crs": a.tree.frame.crs,
        "origin": place(a.tree.frame.origin),
        "axes": text("scene_axes"),
        "colours": text("scene_colours"),
        "source": file_name(a.tree.source),
        "cautions": list(all_cautions()),
    }

    def finish(tree: dict[str, Any]) -> None:
        tree["asset"] = {"version": "2.0", "generator": "treescan", "extras": extras}
        for mesh in tree["meshes"]:
            for part in mesh["primitives"]:
                for accessor in part["attributes"].values():
                    tree["bufferViews"][tree["accessors"][accessor]["bufferView"]]["target"] = VERTICES
                tree["bufferViews"][tree["accessors"][part["indices"]]["bufferView"]]["target"] = INDICES

    return bytes(trimesh.exchange.gltf.export_glb(scene, include_normals=True, tree_postprocessor=finish))


def _put(scene: trimesh.Scene, mesh: trimesh.Trimesh, name: str, at: np.ndarray) -> None:
    scene.add_geometry(mesh, node_name=name, geom_name=name, transform=Y_UP @ at)


def _material(words: str, colour: str) -> Any:
    rgb = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return trimesh.visual.material.PBRMaterial(
        name=words, baseColorFactor=[*rgb, 255], metallicFactor=0.0, roughnessFactor=0.9, doubleSided=True
    )


def _marker_name(p: TieInPoint) -> str:
    if not p.usable:
        return text("scene_not_ranked", label=p.label)
    return text("scene_anchor", rank=p.rank, label=p.label, system=p.system)


def _wood_name(limb: int, order: int) -> str:
    """The stem, a limb by number and order, or the fine branches together."""
    if order >= FINE_ORDER:
        return text("scene_branches")
    return text("scene_stem") if limb == 0 else text("scene_limb", number=f"{limb:04d}", order=order)


def _by_union(a: Assessment) -> dict[int, list]:
    """Candidates of every union, ranked ones first."""
    out: dict[int, list] = {}
    for p in sorted(a.points, key=lambda p: (not p.usable, p.rank)):
        out.setdefault(p.union, []).append(p)
    return out


Tube = tuple[np.ndarray, np.ndarray, np.ndarray]
"""Vertices (n, 3), outward normals (n, 3) and faces (m, 3) of some pieces of one limb."""


def _joined(parts: list[Tube]) -> Any:
    """Tubes of one name and colour as one mesh."""
    start = np.cumsum([0, *(len(vertex) for vertex, _, _ in parts[:-1])])
    faces = np.concatenate([face + first for (_, _, face), first in zip(parts, start, strict=True)])
    vertex, normal = (np.concatenate([p[i] for p in parts]) for i in (0, 1))
    return trimesh.Trimesh(vertex, faces, vertex_normals=normal, process=False)


def _groups(graph: Any, shade: np.ndarray) -> dict[tuple[str, int], list[Tube]]:
    """Tubes by name and colour row."""
    out: dict[tuple[str, int], list[Tube]] = {}
    for whole in runs(graph):
        run = thinned(whole, shade[whole.node])
        order = int(graph.limbs.order[run.limb])
        words = _wood_name(run.limb, order)
        for row in np.unique(shade[run.node]):
            out.setdefault((text("scene_mesh", wood=words, use=LEGEND[row].words), int(row)), []).append(
                _tube(run, np.flatnonzero(shade[run.node] == row))
            )
    return out


def _tube(run: Run, pieces: np.ndarray) -> Tube:
    sides = 12 if run.radius.max() > 0.08 else 6
    vertex, normal = rings(run.line, run.radius, sides)
    used = np.zeros(len(run.line), bool)
    used[pieces] = used[pieces + 1] = True
    new = np.cumsum(used) - 1
    return vertex[used].reshape(-1, 3), normal[used].reshape(-1, 3), tube_faces(new[pieces], sides)
