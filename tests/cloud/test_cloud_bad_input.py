"""Every damaged, odd or foreign file gives a cloud or one clear sentence that names it."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from written_clouds import bush, write_e57, write_las, write_pcd, write_ply, write_text

from treescan.cloud.inspect import inspect_cloud
from treescan.cloud.read import read_cloud
from treescan.errors import BadInput
from treescan.outputs.text.say import say_all

POSE = (np.array([1.0, 0, 0, 0]), np.zeros(3))

WRITERS = {
    "a.las": write_las,
    "a.laz": write_las,
    "a.ply": write_ply,
    "ascii.ply": lambda p, x: write_ply(p, x, encoding="ascii"),
    "a.pcd": write_pcd,
    "ascii.pcd": lambda p, x: write_pcd(p, x, data="ascii"),
    "packed.pcd": lambda p, x: write_pcd(p, x, data="binary_compressed"),
    "a.e57": lambda p, x: write_e57(p, [(x, *POSE)]),
    "a.pts": lambda p, x: write_text(p, x, header=f"{len(x)}\n"),
}


def refusal(path: Path) -> str:
    """The one sentence `read_cloud` refuses a file with; it names the file, fits one line, and `inspect_cloud` gives the same."""
    with pytest.raises(BadInput) as caught:
        read_cloud(path)
    with pytest.raises(BadInput) as again:
        inspect_cloud(path)
    sentence = str(caught.value)

    assert sentence == str(again.value)
    assert sentence.startswith(str(path))
    assert "\n" not in sentence
    assert sentence.endswith(".")
    assert len(sentence) < len(str(path)) + 260
    return sentence


@pytest.mark.parametrize("name", WRITERS)
@pytest.mark.parametrize("share", [0.02, 0.3, 0.97])
def test_a_file_cut_short_is_refused(tmp_path, name, share):
    """Whether the header, the middle or the end is missing, no half cloud is taken for a whole one."""
    path = WRITERS[name](tmp_path / name, bush(2000))
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])

    sentence = refusal(path)

    assert any(w in sentence for w in ("cut short", "damaged", "ends inside", "does not start like", "header", "no lines"))


def test_missing_folder_empty_and_special(tmp_path):
    """A wrong name, a folder, an empty file and a pipe are each told apart."""
    empty = tmp_path / "empty.laz"
    empty.touch()
    os.mkfifo(tmp_path / "pipe.las")

    assert "there is no such file" in refusal(tmp_path / "none.laz")
    assert "is a folder" in refusal(tmp_path)
    assert "is empty (0 bytes)" in refusal(empty)
    assert "not an ordinary file" in refusal(tmp_path / "pipe.las")


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    """Missing rights are named as such (by a stand-in, since tests may run as root)."""
    path = write_las(tmp_path / "a.las", bush(100))

    def refuse(self, *args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)

    assert "may not be read by this user" in refusal(path)


FOREIGN = {
    "zip.laz": (b"PK\x03\x04" + bytes(200), "ZIP archive"),
    "gzip.laz": (b"\x1f\x8b" + bytes(200), "gzip"),
    "page.las": (b"<!DOCTYPE html><html>not found</html>", "web page"),
    "picture.ply": (b"\x89PNG\r\n\x1a\n" + bytes(100), "PNG"),
    "pointer.laz": (b"version https://git-lfs.github.com/spec/v1\noid sha256:ab\n", "Git LFS"),
    "noise.las": (bytes(range(256)) * 8, "neither text nor any point cloud"),
    "utf16.xyz": ("1 2 3\n4 5 6\n".encode("utf-16"), "UTF-16"),
    "words.txt": (b"once upon a time\nthere was a tree\n", "no lines of at least three numbers"),
    "latin.txt": ("Größe der Bäume\nViele\n".encode("latin-1"), "no lines of at least three numbers"),
    "two.xyz": (b"1 2\n3 4\n", "no lines of at least three numbers"),
    "comments.xyz": (b"# x y z\n# nothing else\n", "no lines of at least three numbers"),
}


@pytest.mark.parametrize("name", FOREIGN)
def test_a_foreign_file_is_recognised(tmp_path, name):
    """What people hand in by mistake is called by its name."""
    (tmp_path / name).write_bytes(FOREIGN[name][0])

    assert FOREIGN[name][1] in refusal(tmp_path / name)


LAS_HARM = {
    "records": (100, struct.pack("<I", 1_069_128_089), "variable length records"),
    "points_at": (96, struct.pack("<I", 3_000_000_000), "cut short"),
    "version": (24, bytes([7, 9]), "claims LAS version 7.9"),
    "format": (104, bytes([60]), "no LAS version defines"),
    "record": (105, struct.pack("<H", 3), "no LAS version defines"),
    "count": (247, struct.pack("<Q", 10**15), "claims 1000000000000000 points but holds only 500"),
    "scale": (131, struct.pack("<d", 0.0), "scale factors"),
    "nan_scale": (131, struct.pack("<d", np.nan), "scale factors"),
    "vast": (155, struct.pack("<d", 1e200), "on no map"),
    "no_points": (247, struct.pack("<Q", 0), "holds no points"),
}


@pytest.mark.parametrize("harm", LAS_HARM)
def test_a_false_las_header_is_refused(tmp_path, harm):
    """Counts and places in the header are held against the file before anything is allocated."""
    at, claim, words = LAS_HARM[harm]
    path = write_las(tmp_path / "a.las", bush(500))
    data = bytearray(path.read_bytes())
    data[at : at + len(claim)] = claim
    if harm == "no_points":
        data[107:111] = bytes(4)
    path.write_bytes(data)

    assert words in refusal(path)


@pytest.mark.parametrize(
    ("at", "claim"),
    [(247, struct.pack("<Q", 10**9)), (247, struct.pack("<Q", 10**15))],
)
def test_a_false_laz_count_is_refused(tmp_path, at, claim):
    """A compressed file cannot claim more points than its table of chunks."""
    path = write_las(tmp_path / "a.laz", bush(500))
    data = bytearray(path.read_bytes())
    data[at : at + len(claim)] = claim
    path.write_bytes(data)

    assert "do not fit together" in refusal(path)


def test_a_false_laz_chunk_table_is_refused(tmp_path):
    """A table of chunks outside of the file, or with four thousand million chunks, never reaches the decoder."""
    path = write_las(tmp_path / "a.laz", bush(500))
    good = path.read_bytes()
    start = struct.unpack_from("<I", good, 96)[0]
    table = struct.unpack_from("<q", good, start)[0]
    for place, claim in ((start, struct.pack("<q", 2**40)), (table + 4, struct.pack("<I", 2**32 - 1))):
        data = bytearray(good)
        data[place : place + len(claim)] = claim
        path.write_bytes(data)

        assert any(w in refusal(path) for w in ("table of compressed chunks", "do not fit together"))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b"element vertex 300", b"element vertex 999999999999", "claims 999999999999 points"),
        (b"element vertex 300", b"element vertex many", "makes no sense"),
        (b"property double x", b"property number x", "makes no sense"),
        (b"property double x", b"property double q", "without x, y and z"),
        (b"element vertex 300", b"element blob 300", "without vertices"),
        (b"element vertex 300", b"element vertex 0", "holds no points"),
        (b"end_header", b"and_header", "without an end of its header"),
    ],
)
def test_a_false_ply_header_is_refused(tmp_path, old, new, words):
    """Each fault of a PLY header has its own sentence."""
    path = write_ply(tmp_path / "a.ply", bush(300))
    path.write_bytes(path.read_bytes().replace(old, new, 1))

    assert words in refusal(path)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b"POINTS 300", b"POINTS 30000000000", "claims 30000000000"),
        (b"POINTS 300", b"POINTS some", "damaged or incomplete"),
        (b"POINTS 300", b"POINTS 0", "holds no points"),
        (b"SIZE 8 8 8 4", b"SIZE 8 8 4", "damaged or incomplete"),
        (b"FIELDS x y z", b"FIELDS a b c", "without x, y and z"),
        (b"DATA binary", b"DATA zipped", "damaged or incomplete"),
    ],
)
def test_a_false_pcd_header_is_refused(tmp_path, old, new, words):
    """Each fault of a PCD header has its own sentence, packed or not."""
    for data in ("binary", "binary_compressed"):
        path = write_pcd(tmp_path / "a.pcd", bush(300), data=data)
        path.write_bytes(path.read_bytes().replace(old, new, 1))

        assert words in refusal(path)


def test_a_packed_pcd_that_does_not_unpack_is_refused(tmp_path):
    """A copy from before the start of the data is caught."""
    path = write_pcd(tmp_path / "a.pcd", bush(300), data="binary_compressed")
    data = bytearray(path.read_bytes())
    start = data.index(b"binary_compressed\n") + len(b"binary_compressed\n") + 8
    data[start : start + 2] = bytes([0xFF, 0xFF])
    path.write_bytes(data)

    assert "do not unpack" in refusal(path)


def test_a_damaged_e57_page_is_refused(tmp_path):
    """The checksum of a page catches a single changed byte."""
    path = write_e57(tmp_path / "a.e57", [(bush(2000), *POSE)])
    data = bytearray(path.read_bytes())
    data[5000] ^= 0xFF
    path.write_bytes(data)

    assert "checksum" in refusal(path)


def test_an_e57_reader_that_crashes_or_hangs_is_survived(tmp_path, monkeypatch):
    """A child that dies becomes one sentence, so does one that says nothing for too long."""
    path = write_e57(tmp_path / "a.e57", [(bush(200), *POSE)])
    for program, words in (("import os; os.abort()", "break down"), ("import time; time.sleep(60)", "stop for more than")):
        script = tmp_path / "child" / "e57_child.py"
        script.parent.mkdir(exist_ok=True)
        script.write_text(program)
        monkeypatch.setattr("treescan.cloud.formats.e57.__file__", str(script.with_name("e57.py")))
        monkeypatch.setattr("treescan.cloud.formats.e57.PATIENCE", 1.5)

        assert words in refusal(path)


def test_too_many_bad_lines_are_refused_and_few_are_counted(tmp_path):
    """A text with some words among its points is read with a note; one that is mostly words is not."""
    rows = [f"{x} {y} {z}" for x, y, z in bush(300)]
    few, many = tmp_path / "few.xyz", tmp_path / "many.xyz"
    few.write_text("\n".join([*rows[:150], "pause here", *rows[150:]]))
    many.write_text("\n".join([*rows, *["pause here"] * 200]))

    cloud = read_cloud(few)

    assert len(cloud) == 300
    assert "1 line without three numbers was skipped." in say_all(cloud.notes)
    assert "lines that are not three numbers" in refusal(many)


def test_unknown_unit_and_thinning_are_refused(tmp_path):
    """A wrong option is bad input too."""
    path = write_las(tmp_path / "a.las", bush(100))
    for wrong in ({"unit": "furlong"}, {"thin": 0.0}, {"thin": float("nan")}):
        with pytest.raises(BadInput):
            read_cloud(path, **wrong)


GUARDED = """
import json, resource, sys, time
from treescan.cloud.read import read_cloud
from treescan.outputs.text.say import say_all
from treescan.errors import BadInput
out = {}
for name in sys.argv[1:]:
    begun = time.monotonic()
    try:
        said = f"cloud of {len(read_cloud(name))}"
    except BadInput as e:
        said = str(e)
    out[name] = [said, time.monotonic() - begun]
own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
if sys.platform == "linux":  # ru_maxrss starts from the tests' own process, which this one was forked from; VmHWM does not
    own = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
peak = max(own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
print(json.dumps({"files": out, "peak": peak / 1e6}))
"""


@pytest.mark.parametrize("folder", ["intake_las", "intake_e57"])
def test_every_real_odd_file_ends_well_in_time_and_memory(real_scans, folder):
    """Each odd or broken public file gives a cloud or a sentence within 20 s and 2 GB."""
    import json

    files = sorted(str(p) for p in (real_scans / folder).iterdir() if p.suffix != ".md")
    run = subprocess.run([sys.executable, "-c", GUARDED, *files], capture_output=True, text=True, timeout=300, check=True)
    result = json.loads(run.stdout.splitlines()[-1])

    assert set(files) == set(result["files"])
    assert result["peak"] < 2.0
    for name, (said, seconds) in result["files"].items():
        assert seconds < 20.0, name
        assert said.startswith(("cloud of", name)), said


REAL = {
    "intake_las/garbage_nVariableLength.las": "1069128089 variable length records",
    "intake_las/no-points.las": "holds no points",
    "intake_las/test_epsg_4326_axis.las": "the wrong way round",
    "intake_e57/corrupt_crc.e57": "checksum",
    "intake_e57/empty.e57": "holds no scan",
    "intake_e57/empty_pc.e57": "holds no points",
    "intake_e57/read_error.e57": "one and the same place",
}


@pytest.mark.parametrize("name", REAL)
def test_real_broken_files_name_their_fault(real_scans, name):
    """The sentence says what is wrong with this very file."""
    assert REAL[name] in refusal(real_scans / name)
