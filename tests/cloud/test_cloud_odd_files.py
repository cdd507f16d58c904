"""Odd files that hold what they should are read; folders and scans of few points are refused with what to try."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from written_clouds import bush, write_las

from treescan import trace
from treescan.cloud.read import read_cloud
from treescan.errors import BadInput


def point_wise(chunked: bytes) -> bytes:
    """A file of one chunk without its table, as the first compressors wrote it."""
    held = bytearray(chunked)
    start = struct.unpack_from("<I", held, 96)[0]
    table = struct.unpack_from("<q", held, start)[0]
    record = held.find(b"laszip encoded") - 2 + 54
    struct.pack_into("<H", held, record, 1)
    return bytes(held[:start] + held[start + 8 : table])


def test_points_compressed_one_by_one_are_read(tmp_path):
    """The same points and columns as of the chunked file."""
    mark = np.arange(3000, dtype=np.uint16)
    path = write_las(tmp_path / "a.laz", bush(3000), point_format=1, version="1.2", intensity=mark)
    (tmp_path / "old.laz").write_bytes(point_wise(path.read_bytes()))

    one, two = read_cloud(path), read_cloud(tmp_path / "old.laz")

    assert (one.xyz == two.xyz).all()
    assert (two.columns["intensity"] == mark).all()


def test_points_compressed_one_by_one_and_cut_short_are_refused(tmp_path):
    """One sentence, no panic of the decoder."""
    path = write_las(tmp_path / "a.laz", bush(3000), point_format=1, version="1.2")
    whole = point_wise(path.read_bytes())
    for kept in (len(whole) - 500, len(whole) // 2):
        (tmp_path / "old.laz").write_bytes(whole[:kept])
        with pytest.raises(BadInput, match=r"old\.laz: is damaged|old\.laz: claims"):
            read_cloud(tmp_path / "old.laz")


@pytest.mark.parametrize("where", ["before the points", "in every record", "at the end"])
def test_two_bytes_of_padding_do_no_harm(tmp_path, where):
    """Padding that the header allows for, and bytes behind the last point."""
    path = write_las(tmp_path / "a.las", bush(2000), point_format=1, version="1.2")
    held = bytearray(path.read_bytes())
    start, size = struct.unpack_from("<I", held, 96)[0], struct.unpack_from("<H", held, 105)[0]
    if where == "before the points":
        struct.pack_into("<I", held, 96, start + 2)
        held[start:start] = b"\xdd\xcc"
    elif where == "in every record":
        struct.pack_into("<H", held, 105, size + 2)
        rows = (bytes(held[start + k * size : start + (k + 1) * size]) + b"\0\0" for k in range(2000))
        held[start:] = b"".join(rows)
    else:
        held += b"\0\0"
    (tmp_path / "b.las").write_bytes(held)

    assert (read_cloud(tmp_path / "b.las").xyz == read_cloud(path).xyz).all()


def test_a_folder_names_a_command_for_what_it_holds(tmp_path):
    """One of its clouds as an example, or the tree of a plan."""
    write_las(tmp_path / "scan.las", bush(500))
    with pytest.raises(BadInput, match=r"is a folder.*treescan inspect .*scan\.las"):
        read_cloud(tmp_path)
    for name in ("tree.json", "run.json"):
        (tmp_path / name).write_text("{}")
    with pytest.raises(BadInput, match=r"is a folder.*tree\.json"):
        read_cloud(tmp_path)


def test_few_points_say_what_to_try(tmp_path):
    """Unit, cut-out and thinning are named."""
    with pytest.raises(BadInput, match=r"only 100 points.*--unit.*cut-out"):
        trace(read_cloud(write_las(tmp_path / "few.las", bush(100))))
