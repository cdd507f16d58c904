"""Clouds written to disk for tests, in every format, by other hands than those that read them (laspy, pye57, struct, open3d)."""

from __future__ import annotations

import struct
from pathlib import Path

import laspy
import numpy as np
from pye57 import libe57
from pyproj import CRS


def bush(n: int = 4000, seed: int = 1) -> np.ndarray:
    """A stem with a crown and ground, (n, 3) whole millimetres in metres, about 8 x 8 x 12 m, no point twice."""
    rng = np.random.default_rng(seed)
    k = 3 * n
    stem = np.column_stack([rng.normal(0, 0.1, k), rng.normal(0, 0.1, k), rng.uniform(0, 8, k)])
    crown = rng.normal((0, 0, 8), 1.2, (k, 3))
    ground = np.column_stack([rng.uniform(-4, 4, k), rng.uniform(-4, 4, k), rng.normal(0, 0.02, k)])
    every = np.unique(np.round(np.concatenate([stem, crown, ground]) * 1000).astype(int), axis=0)
    every = every[(np.abs(every[:, :2]) < 4000).all(axis=1) & (every[:, 2] < 12000) & (every[:, 2] > -100)]
    return every[np.sort(rng.choice(len(every), n, replace=False))] / 1000.0


def write_las(
    path: Path,
    xyz: np.ndarray,
    *,
    version: str = "1.4",
    point_format: int = 6,
    crs: str | CRS | None = None,
    scale: float | tuple[float, ...] = 0.001,
    offset: tuple[float, float, float] | None = None,
    **columns: np.ndarray,
) -> Path:
    """LAS, or LAZ where the name ends so; laspy cannot write 1.0 (same layout as 1.1), so the version byte is set afterwards."""
    header = laspy.LasHeader(point_format=point_format, version="1.1" if version == "1.0" else version)
    header.scales = np.broadcast_to(scale, 3).copy()
    header.offsets = np.floor(xyz.min(axis=0)) if offset is None else offset
    if crs is not None:
        header.add_crs(CRS.from_user_input(crs))
    las = laspy.LasData(header)
    las.x, las.y, las.z = xyz.T
    for name, values in columns.items():
        setattr(las, name, values)
    las.write(str(path))
    if version == "1.0":
        data = bytearray(path.read_bytes())
        data[25] = 0
        path.write_bytes(data)
    return path


def write_ply(path: Path, xyz: np.ndarray, *, encoding: str = "binary_little_endian", kind: str = "double", before: bool = False) -> Path:
    """PLY with colours; `before` puts another element in front of the vertices."""
    front = "element camera 1\nproperty float a\nproperty uchar b\n" if before else ""
    head = (
        f"ply\nformat {encoding} 1.0\ncomment made for a test\n{front}element vertex {len(xyz)}\n"
        + "".join(f"property {kind} {a}\n" for a in "xyz")
        + "property uchar red\nproperty uchar green\nproperty uchar blue\n"
        + "element face 0\nproperty list uchar int vertex_indices\nend_header\n"
    )
    colour = np.arange(len(xyz)) % 200
    if encoding == "ascii":
        rows = "".join(f"{x!r} {y!r} {z!r} {c} 7 9\n" for (x, y, z), c in zip(xyz.tolist(), colour, strict=True))
        path.write_bytes((head + ("1.5 3\n" if before else "") + rows).encode())
        return path
    end = "<" if "little" in encoding else ">"
    record = np.zeros(len(xyz), [(a, f"{end}f{8 if kind == 'double' else 4}") for a in "xyz"] + [(c, "u1") for c in "rgb"])
    for k, a in enumerate("xyz"):
        record[a] = xyz[:, k]
    record["r"], record["g"], record["b"] = colour, 7, 9
    path.write_bytes(head.encode() + (struct.pack(f"{end}fB", 1.5, 3) if before else b"") + record.tobytes())
    return path


def write_pcd(path: Path, xyz: np.ndarray, *, data: str = "binary") -> Path:
    """PCD with doubles and an intensity; the compressed form packs everything as literals, which is valid LZF."""
    head = (
        "# .PCD v0.7 - Point Cloud Data file format\nVERSION 0.7\nFIELDS x y z intensity\n"
        "SIZE 8 8 8 4\nTYPE F F F F\nCOUNT 1 1 1 1\n"
        f"WIDTH {len(xyz)}\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS {len(xyz)}\nDATA {data}\n"
    ).encode()
    intensity = (np.arange(len(xyz)) % 100).astype("<f4")
    if data == "ascii":
        body = "".join(f"{x!r} {y!r} {z!r} {i}\n" for (x, y, z), i in zip(xyz.tolist(), intensity, strict=True)).encode()
    elif data == "binary":
        record = np.zeros(len(xyz), [("x", "<f8"), ("y", "<f8"), ("z", "<f8"), ("i", "<f4")])
        record["x"], record["y"], record["z"], record["i"] = *xyz.T, intensity
        body = record.tobytes()
    else:
        plain = b"".join(np.ascontiguousarray(xyz[:, k], "<f8").tobytes() for k in range(3)) + intensity.tobytes()
        packed = b"".join(bytes([len(plain[i : i + 32]) - 1]) + plain[i : i + 32] for i in range(0, len(plain), 32))
        body = struct.pack("<II", len(packed), len(plain)) + packed
    path.write_bytes(head + body)
    return path


def write_e57(
    path: Path,
    scans: list[tuple[np.ndarray, np.ndarray, np.ndarray]],
    *,
    spherical: bool = False,
    crs: str = "",
    single: bool = False,
) -> Path:
    """E57 with one scan for each (points as the scanner sees them, quaternion w x y z, translation), in doubles."""
    image = libe57.ImageFile(str(path), "w")
    image.extensionsAdd("", libe57.E57_V1_0_URI)
    root = image.root()
    root.set("formatName", libe57.StringNode(image, "ASTM E57 3D Imaging Data File"))
    root.set("guid", libe57.StringNode(image, "{made for a test}"))
    root.set("versionMajor", libe57.IntegerNode(image, libe57.E57_FORMAT_MAJOR))
    root.set("versionMinor", libe57.IntegerNode(image, libe57.E57_FORMAT_MINOR))
    root.set("coordinateMetadata", libe57.StringNode(image, crs))
    data = libe57.VectorNode(image, True)
    root.set("data3D", data)
    names = ("sphericalRange", "sphericalAzimuth", "sphericalElevation") if spherical else ("cartesianX", "cartesianY", "cartesianZ")
    precision = libe57.E57_SINGLE if single else libe57.E57_DOUBLE
    for k, (xyz, turn, move) in enumerate(scans):
        scan = libe57.StructureNode(image)
        scan.set("guid", libe57.StringNode(image, f"{{scan {k}}}"))
        pose = libe57.StructureNode(image)
        for part, letters, values in (("rotation", "wxyz", turn), ("translation", "xyz", move)):
            node = libe57.StructureNode(image)
            for letter, value in zip(letters, values, strict=True):
                node.set(letter, libe57.FloatNode(image, float(value)))
            pose.set(part, node)
        scan.set("pose", pose)
        prototype = libe57.StructureNode(image)
        for name in names:
            prototype.set(name, libe57.FloatNode(image, 0.0, precision, -1e9, 1e9))
        prototype.set("intensity", libe57.FloatNode(image, 0.0, libe57.E57_SINGLE, 0.0, 1.0))
        points = libe57.CompressedVectorNode(image, prototype, libe57.VectorNode(image, True))
        scan.set("points", points)
        data.append(scan)
        own = xyz
        if spherical:
            r = np.linalg.norm(xyz, axis=1)
            own = np.column_stack([r, np.arctan2(xyz[:, 1], xyz[:, 0]), np.arcsin(xyz[:, 2] / r)])
        held = [np.ascontiguousarray(own[:, i], np.float64) for i in range(3)] + [np.full(len(xyz), 0.25, np.float32)]
        buffers = libe57.VectorSourceDestBuffer()
        for name, values in zip((*names, "intensity"), held, strict=True):
            buffers.append(libe57.SourceDestBuffer(image, name, values, len(xyz), True, True))
        points.writer(buffers).write(len(xyz))
    image.close()
    return path


def write_text(path: Path, xyz: np.ndarray, *, delimiter: str = " ", decimal: str = ".", header: str = "", extra: str = "") -> Path:
    """One point a line, three decimals."""
    rows = (delimiter.join(f"{v:.3f}".replace(".", decimal) for v in p) + extra for p in xyz.tolist())
    path.write_text(header + "\n".join(rows) + "\n")
    return path


def in_order(xyz: np.ndarray) -> np.ndarray:
    """Rows sorted, to compare clouds whose points may be stored in any order."""
    rounded = np.round(xyz, 6)
    return xyz[np.lexsort(rounded.T)]
