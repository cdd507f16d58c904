"""Write a made-up scene: the scan as LAZ the way a user gets it, and the truth beside it.

The truth file is a tree.json (so `treescan plan` takes it too) with one more key, "truth": what else stands in the scene and how it was scanned.
"""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import laspy
import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from made_up.instruments import Instrument
from made_up.meshes import PARTS
from made_up.scan import Scan
from made_up.scenes import Scene
from made_up.stations import Station
from treescan.cloud.point_cloud import Frame
from treescan.cloud.projection import crs_text, in_metres
from treescan.trees.beside import Beside, Terrain
from treescan.wood.files.write_tree import tree_out
from treescan.wood.graph import ScanFitness, TracedTree
from treescan.wood.quality.stem_figures import stem_figures


@dataclass(frozen=True)
class MapFrame:
    """Where a scene lies on its (invented) map.

    Attributes
    ----------
    origin : (x, y, z)  Map coordinates of the stem's foot. [m]
    crs : str or None   "EPSG:..." written into the file's header; None = a local frame without a reference.
    unit_m : float      Metres per unit of the file, plan and height.
    """

    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    crs: str | None = None
    unit_m: float = 1.0

    def frame(self) -> Frame:
        """As `read_cloud` would state it."""
        crs = None if self.crs is None else crs_text(in_metres(CRS(self.crs)))
        return Frame(np.array(self.origin), crs, self.unit_m, self.unit_m)


def write_laz(scan: Scan, place: MapFrame, path: Path) -> None:
    """Write the points a user would get: no labels, a precision of 1 mm (or the same in feet), the position in `point_source_id`."""
    scale = 0.001 if place.unit_m == 1.0 else 0.003
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales = np.full(3, scale)
    header.offsets = np.round(np.array(place.origin) / place.unit_m)
    header.system_identifier, header.generating_software = "made-up scanner", "treescan sample"
    if place.crs:
        header.add_crs(CRS(place.crs))
    las = laspy.LasData(header)
    own = (scan.xyz + np.array(place.origin)) / place.unit_m
    las.x, las.y, las.z = own.T
    las.intensity = (scan.intensity // 32 * 32).astype(np.uint16)
    las.return_number = scan.return_number.clip(1)
    las.number_of_returns = scan.return_number.clip(1)
    las.point_source_id = scan.station.astype(np.uint16)
    las.write(str(path))


def write_labels(scan: Scan, keep: NDArray[np.int32], path: Path) -> None:
    """What every point of the LAZ really is, in the same order: `part` indexes `parts`; `node` is the node of the truth file's tree (-1 = none)."""
    own = scan.of("wood", "dead wood")
    node = np.where(own, keep[np.where(own, scan.node, 0)], -1).astype(np.int32)
    # fixed file times keep the archive the same from run to run
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, array in (("part", scan.part), ("node", node), ("parts", np.array(PARTS))):
            held = io.BytesIO()
            np.save(held, array)
            archive.writestr(zipfile.ZipInfo(f"{name}.npy", (1980, 1, 1, 0, 0, 0)), held.getvalue(), zipfile.ZIP_DEFLATED, 9)


def nearest_kept(scene: Scene, thinnest: float) -> NDArray[np.int32]:
    """For every grown node the row of the truth graph's node that carries it, (n,)."""
    keep = scene.tree.kept(thinnest)
    new = (np.cumsum(keep) - 1).astype(np.int32)
    out = new.copy()
    for i in range(1, len(keep)):
        if not keep[i]:
            out[i] = out[scene.tree.parent[i]]
    return out


def true_terrain(scene: Scene, half_width: float = 30.0, cell: float = 0.5) -> Terrain:
    """The scene's ground as a grid."""
    n = round(2 * half_width / cell)
    c = -half_width + (np.arange(n) + 0.5) * cell
    x, y = np.meshgrid(c, c)
    return Terrain(scene.ground(np.stack([x, y], -1)), np.array([-half_width, -half_width]), cell, np.ones((n, n), bool))


def traced_truth(scene: Scene, place: MapFrame, source: str, thinnest: float = 0.02) -> TracedTree:
    """The truth as `trace` would give it, had the scan been perfect."""
    terrain = true_terrain(scene)
    graph = scene.tree.graph(thinnest, terrain)
    stem = stem_figures(graph, terrain, top_z=float(scene.tree.xyz[0, 2] + scene.tree.height))
    return TracedTree(graph, Beside(terrain), place.frame(), stem, ScanFitness("assessable", ()), source)


def write_truth(
    scene: Scene, scan: Scan, where: list[Station], instrument: Instrument, place: MapFrame, about: str, path: Path, thinnest: float = 0.02
) -> None:
    """Write NAME.truth.json."""
    traced = traced_truth(scene, place, path.name, thinnest)
    terrain = traced.beside.terrain
    content = _short({**tree_out(traced), "beside": None})
    content.pop("cautions", None)
    for node in content["nodes"]:
        for stated in ("radius_sd", "arc_deg", "seen"):
            del node[stated]
    dead = scene.tree.dead[scene.tree.kept(thinnest)]
    content["truth"] = _short(
        {
            "about": about,
            "habit": scene.tree.habit,
            "drawn_from": scene.tree.seed,
            "thinnest_diameter": thinnest,
            "dead_nodes": np.nonzero(dead)[0].tolist(),
            "neighbours": [{"xyz": t.xyz[0].tolist(), "dbh": stem_figures(t.graph(0.05), terrain).dbh, "height": t.height} for t in scene.neighbours],
            "walls": [{k: list(v) if isinstance(v, tuple) else v for k, v in w.items()} for w in scene.walls],
            "wires": [w[::20].tolist() for w in scene.wires],
            "scanner_positions": sorted({tuple(np.round(s.path[0], 3).tolist()) for s in where}),
            "instrument": asdict(instrument),
            "points": {name: int(np.count_nonzero(scan.part == k)) for k, name in enumerate(PARTS) if np.any(scan.part == k)},
            "labels": "NAME.labels.npz: part (index into parts) and node of every point, in the order of the LAZ",
        }
    )
    path.write_text(_lines(content), encoding="utf-8")


def _short(value: Any) -> Any:
    """Numbers rounded to 0.1 mm (angles to 0.0001 degrees)."""
    if isinstance(value, dict):
        return {k: _short(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_short(v) for v in value]
    if isinstance(value, (float, np.floating)):
        return round(float(value), 4)
    return value


def _lines(content: dict[str, Any]) -> str:
    """JSON with one list entry a line, so that differences can be read."""
    out = []
    for key, value in content.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            body = ",\n".join(json.dumps(v, separators=(",", ":")) for v in value)
            out.append(f"{json.dumps(key)}: [\n{body}\n]")
        else:
            out.append(f"{json.dumps(key)}: {json.dumps(value)}")
    return "{\n" + ",\n".join(out) + "\n}\n"
