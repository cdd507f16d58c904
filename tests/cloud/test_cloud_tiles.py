"""Tiles: what is read by window across seams, units and missing systems is what one file would give."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import laspy
import lazrs
import numpy as np
import pytest
from pyproj import CRS

from treescan.cloud.canonical import canonical
from treescan.cloud.tiles.tile_index import index_tile, read_tile
from treescan.cloud.tiles.tile_map import TileMap, one_map
from treescan.cloud.tiles.tile_window import points_within
from treescan.errors import BadInput

CORNER = np.array([300_000.0, 60_000.0, 12.0])
FOOT = 1200 / 3937


def cloud(seed: int = 1, count: int = 30_000) -> np.ndarray:
    """Points over 60 m x 60 m in whole millimetres of the map, (n, 3)."""
    return np.round(np.random.default_rng(seed).uniform(0, 1, (count, 3)) * [60, 60, 8] + CORNER, 3)


def write(xyz: np.ndarray, path: Path, system: str | None, scale: float = 0.001) -> Path:
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, scale), np.floor(xyz.min(axis=0))
    if system:
        header.add_crs(CRS.from_user_input(system))
    held = laspy.LasData(header)
    held.x, held.y, held.z = xyz.T
    held.classification = np.full(len(xyz), 2, np.uint8)
    held.write(path)
    return path


def tiles(tmp_path: Path, *parts: tuple[np.ndarray, str | None]) -> TileMap:
    made = [
        index_tile(write(xyz, tmp_path / f"t{k}.laz", system, 1e-4), tmp_path / f"i{k}")
        for k, (xyz, system) in enumerate(parts)
    ]
    return one_map(made)


def within(found: TileMap, low: tuple[float, float], high: tuple[float, float]) -> np.ndarray:
    """Map places of a window from the district's corner, sorted, (n, 3)."""
    got = points_within(found, CORNER[:2] + low, CORNER[:2] + high, "w")
    xyz = got.frame.to_map(got.xyz)
    return xyz[np.lexsort(xyz.T)]


def expected(xyz: np.ndarray, low: tuple[float, float], high: tuple[float, float]) -> np.ndarray:
    inside = np.all((xyz[:, :2] >= CORNER[:2] + low) & (xyz[:, :2] < CORNER[:2] + high), axis=1)
    held = xyz[inside]
    return held[np.lexsort(held.T)]


@pytest.mark.parametrize("window", [((0.0, 0.0), (60.0, 60.0)), ((17.3, 22.1), (41.9, 36.2)), ((27.9, 27.9), (32.1, 32.1))])
def test_a_window_over_a_seam_is_that_of_one_file(tmp_path: Path, window: tuple) -> None:
    """Two overlapping tiles, one of them in feet, give each point of the window once, to a tenth of a millimetre."""
    xyz = cloud()
    west, east = xyz[xyz[:, 0] < CORNER[0] + 30.5], xyz[xyz[:, 0] >= CORNER[0] + 30.0]
    found = tiles(tmp_path, (west, "EPSG:32118"), (east, "EPSG:32118"))
    np.testing.assert_allclose(within(found, *window), expected(xyz, *window), atol=1e-6)
    feet = tiles(tmp_path / "f", (west[west[:, 0] < CORNER[0] + 30.0], "EPSG:32118"), (east / FOOT, "EPSG:2263")) if (tmp_path / "f").mkdir() is None else found
    assert feet.system == "EPSG:32118"
    got, want = within(feet, *window), expected(xyz, *window)
    assert abs(len(got) - len(want)) <= 2
    if len(got) == len(want):
        np.testing.assert_allclose(np.sort(got, axis=0), np.sort(want, axis=0), atol=2e-4)


def test_tiles_that_say_less_are_fitted_in_or_left_out(tmp_path: Path) -> None:
    """Without a system a tile lies beside its neighbours in metres, or in feet, with a doubt; one that lies nowhere near is left out with a reason."""
    xyz = cloud()
    far = xyz + np.array([90_000.0, 0, 0])
    known = ((xyz - np.array([0, 61.0, 0])) / FOOT, "EPSG:2263")
    found = tiles(
        tmp_path, (xyz[::2], "EPSG:32118"), (xyz + np.array([61.0, 0, 0]), None), ((xyz + np.array([0, 61.0, 0])) / FOOT, None), (far, None), (known[0][::3], known[1])
    )
    notes = [[n.code for n in p.notes] for p in found.tiles]
    assert notes == [[], ["tile_without_system"], ["tile_taken_for_feet"], []]
    assert found.tiles[2].notes[0]["off"] == pytest.approx(0.61, abs=0.01)
    assert [(Path(f).name, why.code) for f, why in found.left_out] == [("t3.laz", "tile_lies_elsewhere")]
    np.testing.assert_allclose(within(found, (0, 61), (60, 121)).mean(axis=0), (xyz + np.array([0, 61.0, 0])).mean(axis=0), atol=2e-3)


def test_the_order_of_tiles_and_of_their_points_does_not_matter(tmp_path: Path) -> None:
    """The same window whichever tile is named first, and however a file lists its points."""
    xyz = cloud()
    a, b = xyz[: len(xyz) // 2], xyz[len(xyz) // 2 :]
    one = tiles(tmp_path, (a, "EPSG:32118"), (b, "EPSG:32118"))
    (tmp_path / "o").mkdir()
    two = tiles(tmp_path / "o", (b[::-1], "EPSG:32118"), (a[::-1], "EPSG:32118"))
    clouds = [canonical(points_within(m, CORNER[:2] + 20, CORNER[:2] + 40, "w")) for m in (one, two)]
    np.testing.assert_array_equal(clouds[0].xyz, clouds[1].xyz)
    np.testing.assert_array_equal(clouds[0].frame.origin, clouds[1].frame.origin)


def test_an_index_is_made_once_and_kept_whole(tmp_path: Path) -> None:
    """The second call reads the index; a file that cannot be read leaves none."""
    file = write(cloud(), tmp_path / "a.laz", None)
    index_tile(file, tmp_path / "i")
    before = (tmp_path / "i" / "points.bin").stat().st_mtime_ns
    again = index_tile(file, tmp_path / "i")
    assert (tmp_path / "i" / "points.bin").stat().st_mtime_ns == before and again.points == 30_000
    np.testing.assert_array_equal(read_tile(file, tmp_path / "i").blocks, again.blocks)
    (tmp_path / "cut.laz").write_bytes(file.read_bytes()[:20_000])
    with pytest.raises(BadInput):
        index_tile(tmp_path / "cut.laz", tmp_path / "j")
    assert not (tmp_path / "j").exists() and not list(tmp_path.glob(".part-*"))


def copc(xyz: np.ndarray, path: Path) -> Path:
    """A COPC file of one root block and its eight children (COPC 1.0: info record first, one chunk a block, the tree as an extended record)."""
    plain = path.with_suffix(".plain.laz")
    write(xyz, plain, "EPSG:32118")
    held = laspy.read(plain)
    low, half = xyz.min(axis=0), np.ptp(xyz, axis=0).max() / 2 + 0.01
    which = ((xyz - low) > half).astype(int) @ [1, 2, 4]
    rng = np.random.default_rng(3)
    rows = [np.flatnonzero(np.arange(len(xyz)) % 8 == 0)] + [np.flatnonzero((np.arange(len(xyz)) % 8 != 0) & (which == k)) for k in range(8)]
    rows = [r[rng.permutation(len(r))] for r in rows]
    chunks = [(k, r) for k, r in enumerate(rows) if len(r)]
    record = held.points.array
    laz = lazrs.LazVlr.new_for_compression(6, 0, True)
    wkt = CRS.from_epsg(32118).to_wkt().encode() + b"\0"
    info_size = 160
    start = 375 + 3 * 54 + info_size + len(laz.record_data()) + len(wkt)
    out = io.BytesIO(bytes(start))
    out.seek(start)
    packer = lazrs.LasZipCompressor(out, laz)
    packer.reserve_offset_to_chunk_table()
    ends = [start + 8]
    for _, r in chunks:
        packer.compress_many(np.frombuffer(record[r].tobytes(), np.uint8))
        packer.finish_current_chunk()
        ends.append(out.tell())
    packer.done()
    points = out.getvalue()[start:]

    def short(user: bytes, number: int, data: bytes) -> bytes:
        return struct.pack("<H16sHH32s", 0, user, number, len(data), b"") + data

    page = b""
    for (k, own), a, b in zip(chunks, ends[:-1], ends[1:], strict=True):
        level, x, y, z = (0, 0, 0, 0) if k == 0 else (1, (k - 1) & 1, (k - 1) >> 1 & 1, (k - 1) >> 2)
        page += struct.pack("<iiiiQii", level, x, y, z, a, b - a, len(own))
    tree_at = start + len(points) + 60
    info = struct.pack("<5dQQ2d", *(low + half), half, half / 64, tree_at, len(page), 0.0, 0.0).ljust(info_size, b"\0")
    head = bytearray(plain.read_bytes()[:375])
    struct.pack_into("<II", head, 96, start, 3)
    head[104] = 6 | 128
    struct.pack_into("<QI", head, 235, start + len(points), 1)
    records = short(b"copc", 1, info) + short(b"laszip encoded", 22204, bytes(laz.record_data())) + short(b"LASF_Projection", 2112, wkt)
    long = struct.pack("<H16sHQ32s", 0, b"copc", 1000, len(page), b"")
    path.write_bytes(bytes(head) + records + points + long + page)
    return path


def test_copc_is_read_by_its_own_blocks(tmp_path: Path) -> None:
    """No index of points is made; a window holds just the points that lie in it."""
    xyz = cloud()
    file = copc(xyz, tmp_path / "a.copc.laz")
    tile = index_tile(file, tmp_path / "i")
    assert tile.copc and tile.points == len(xyz) and not (tmp_path / "i" / "points.bin").exists()
    for window in (((0.0, 0.0), (60.0, 60.0)), ((17.3, 22.1), (41.9, 36.2))):
        np.testing.assert_allclose(within(one_map([tile]), *window), expected(xyz, *window), atol=1e-6)


def test_a_stretch_without_a_point_to_use_is_no_fault(tmp_path: Path) -> None:
    """A table of places, whose last stretch holds none, is sorted into blocks like a packed file."""
    xyz = cloud(count=2000)
    np.savetxt(tmp_path / "t.xyz", xyz, fmt="%.3f")
    found = one_map([index_tile(tmp_path / "t.xyz", tmp_path / "i")])
    assert found.tiles[0].tile.points == 2000
    np.testing.assert_allclose(within(found, (5.0, 5.0), (25.0, 31.0)), expected(xyz, (5.0, 5.0), (25.0, 31.0)), atol=1e-6)
