"""Every format gives the same cloud."""

from __future__ import annotations

import struct

import laspy
import lazrs
import numpy as np
import pytest
from written_clouds import bush, in_order, write_e57, write_las, write_pcd, write_ply, write_text

from treescan.cloud import opened
from treescan.cloud.formats import las
from treescan.cloud.inspect import inspect_cloud
from treescan.cloud.read import read_cloud
from treescan.reason import Reason

AT = np.array([500_000.0, 5_200_000.0, 300.0])
PLACES = np.array([[1.0, 2.0, 1.5], [-3.0, 0.5, 1.4]])
STILL = np.array([1.0, 0.0, 0.0, 0.0])
TURNED = np.array([np.cos(0.3), 0.0, 0.0, np.sin(0.3)])


def turned_back(xyz: np.ndarray, angle: float) -> np.ndarray:
    """Points as a scanner turned by `angle` about the vertical sees them."""
    c, s = np.cos(angle), np.sin(angle)
    return xyz @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]]).T


def two_posed_scans(path, xyz, **more):
    half = len(xyz) // 2
    moves = AT + PLACES[0], AT + PLACES[1]
    one = turned_back(xyz[:half] + AT - moves[0], 0.0)
    two = turned_back(xyz[half:] + AT - moves[1], 0.6)
    return write_e57(path, [(one, STILL, moves[0]), (two, TURNED, moves[1])], **more)


WRITERS = {
    "a.las": lambda p, x: write_las(p, x + AT),
    "a.laz": lambda p, x: write_las(p, x + AT),
    "le.ply": lambda p, x: write_ply(p, x + AT),
    "be.ply": lambda p, x: write_ply(p, x + AT, encoding="binary_big_endian"),
    "before.ply": lambda p, x: write_ply(p, x + AT, before=True),
    "ascii.ply": lambda p, x: write_ply(p, x + AT, encoding="ascii", before=True),
    "ascii.pcd": lambda p, x: write_pcd(p, x + AT, data="ascii"),
    "binary.pcd": lambda p, x: write_pcd(p, x + AT, data="binary"),
    "packed.pcd": lambda p, x: write_pcd(p, x + AT, data="binary_compressed"),
    "posed.e57": two_posed_scans,
    "spherical.e57": lambda p, x: two_posed_scans(p, x, spherical=True),
    "a.xyz": lambda p, x: write_text(p, x + AT),
    "a.csv": lambda p, x: write_text(p, x + AT, delimiter=",", header="x,y,z\n"),
    "semicolon.csv": lambda p, x: write_text(p, x + AT, delimiter=";", decimal=",", header="# from a test\nX [m];Y [m];Z [m]\n"),
    "a.pts": lambda p, x: write_text(p, x + AT, header=f"{len(x)}\n", extra=" -1200 10 20 30"),
}


@pytest.mark.parametrize("name", WRITERS)
def test_the_same_cloud_comes_out_of_every_format(tmp_path, name):
    """Map coordinates at 500 000 / 5 200 000 come back within 1 mm from every format, in the same frame."""
    xyz = bush()

    cloud = read_cloud(WRITERS[name](tmp_path / name, xyz))

    assert len(xyz) == len(cloud)
    assert cloud.frame.origin.tolist() == [500_000.0 - 100.0, 5_200_000.0 - 100.0, 0.0]
    assert np.abs(in_order(xyz + AT) - in_order(cloud.frame.to_map(cloud.xyz))).max() < 1e-3 / 2
    assert not cloud.xyz.flags.writeable


VERSIONS = {"1.0": (0, 1), "1.1": (0, 1), "1.2": (0, 1, 2, 3), "1.3": (0, 1, 2, 3, 4, 5), "1.4": tuple(range(11))}


@pytest.mark.parametrize(("version", "point_format"), [(v, f) for v, fs in VERSIONS.items() for f in fs])
def test_every_las_version_and_point_format_is_read(tmp_path, version, point_format):
    """LAS 1.0 to 1.4, formats 0 to 10, plain and compressed: points, classes and returns as written."""
    xyz = bush(300)
    code = (np.arange(300) % 5 + 1).astype(np.uint8)

    for name in ("a.las", "a.laz") if point_format not in (4, 5, 9, 10) else ("a.las",):
        path = write_las(tmp_path / name, xyz, version=version, point_format=point_format, classification=code)
        cloud = read_cloud(path)

        assert np.allclose(xyz, cloud.xyz, atol=1e-9)
        assert (code == cloud.columns["class"]).all()
        assert ("red" in cloud.columns) == (point_format in (2, 3, 5, 7, 8, 10))


@pytest.mark.parametrize("name", ["a.las", "a.laz", "le.ply", "binary.pcd", "posed.e57", "a.xyz"])
def test_chunked_reading_equals_reading_whole(tmp_path, name, monkeypatch):
    """Whether a file comes in one piece or in pieces of 700 points makes no difference, thinned or not."""
    xyz = bush()
    path = WRITERS[name](tmp_path / name, xyz)
    whole, whole_thin = read_cloud(path), read_cloud(path, thin=0.25)

    for module in ("formats.las", "formats.ply", "formats.pcd", "opened"):
        monkeypatch.setattr(f"treescan.cloud.{module}.CHUNK", 700)
    pieces, pieces_thin = read_cloud(path), read_cloud(path, thin=0.25)

    assert np.abs(whole.frame.to_map(whole.xyz) - pieces.frame.to_map(pieces.xyz)).max() < 1e-8
    assert whole.notes == pieces.notes
    assert np.abs(whole_thin.xyz - pieces_thin.xyz).max() < 1e-8
    assert (whole_thin.columns["points"] == pieces_thin.columns["points"]).all()


def test_the_chunk_size_is_one_number(monkeypatch):
    """The binary readers all use the same chunk."""
    assert opened.CHUNK == las.CHUNK == 1_000_000


def test_columns_come_along(tmp_path):
    """Intensity, colour and scanner set-up survive, in the order of the points."""
    xyz = bush(500)
    rng = np.random.default_rng(3)
    intensity, red = rng.integers(0, 60_000, 500).astype(np.uint16), rng.integers(0, 60_000, 500).astype(np.uint16)

    cloud = read_cloud(write_las(tmp_path / "a.laz", xyz, point_format=7, intensity=intensity, red=red, point_source_id=intensity))

    assert (intensity == cloud.columns["intensity"]).all()
    assert (red == cloud.columns["red"]).all()
    assert (intensity == cloud.columns["scan"]).all()
    ply = read_cloud(write_ply(tmp_path / "a.ply", xyz, encoding="binary_big_endian"))
    assert (np.arange(500) % 200 == ply.columns["red"]).all()


def test_an_e57_tells_where_the_scanner_stood(tmp_path):
    """Each scan's points carry its number, and the poses become scanner places in local metres."""
    cloud = read_cloud(two_posed_scans(tmp_path / "a.e57", bush()))

    assert np.unique(cloud.columns["scan"]).tolist() == [0, 1]
    assert np.allclose(AT + PLACES, cloud.frame.to_map(cloud.scanners))


def test_the_extension_is_not_believed(tmp_path):
    """A PLY named .las is read as the PLY it is, with a note."""
    cloud = read_cloud(write_ply(tmp_path / "wrong.las", bush(200)))

    assert len(cloud) == 200
    assert Reason("extension_misleads", extension=".las", format="ply") in cloud.notes


def test_a_cloud_optimised_file_is_read(tmp_path):
    """COPC: LAZ 1.4 with its info record first and compressed chunks of differing size."""
    xyz = bush(3000)
    plain = laspy.read(write_las(tmp_path / "plain.las", xyz))
    laz = lazrs.LazVlr.new_for_compression(6, 0, True)
    records = b""
    for user, number, data in ((b"copc", 1, bytes(160)), (b"laszip encoded", 22204, bytes(laz.record_data()))):
        records += struct.pack("<H16sHH32s", 0, user, number, len(data), b"") + data
    header = bytearray((tmp_path / "plain.las").read_bytes()[:375])
    struct.pack_into("<II", header, 96, 375 + len(records), 2)
    header[104] |= 128
    path = tmp_path / "a.copc.laz"
    with path.open("wb") as f:
        f.write(bytes(header) + records)
        packer = lazrs.ParLasZipCompressor(f, laz)
        raw = plain.points.array
        packer.compress_chunks([np.frombuffer(raw[a:b].tobytes(), np.uint8) for a, b in ((0, 100), (100, 2000), (2000, 3000))])
        packer.done()

    assert np.allclose(xyz, read_cloud(path).xyz, atol=1e-9)
    assert inspect_cloud(path).format == "COPC"
