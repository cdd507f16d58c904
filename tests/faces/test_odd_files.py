"""Odd and hostile files: each becomes one sentence with the row or entry, and nothing is fetched.

The small files lie in tests/faults; each broke something once.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import warnings
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from treescan.cloud.read import read_cloud
from treescan.errors import BadInput
from treescan.faces.cli import commands, jobs
from treescan.faces.cli.commands import run
from treescan.faces.cli.jobs import read_settings
from treescan.faces.user_files.asked_work import read_work
from treescan.faces.user_files.stated import read_overrides
from treescan.faces.user_files.table_rows import read_rows
from treescan.outputs.gis.inventory import field_names, joined, read_inventory
from treescan.planning.settings import PlanningSettings
from treescan.spreadsheet import guarded, unguarded
from treescan.trees.scan_points import scan_points
from treescan.wood.files.read_tree import read_tree
from treescan.wood.files.write_tree import write_tree

FAULTS = Path(__file__).parent.parent / "faults"
ROOT = FAULTS.parent.parent
HAND = FAULTS / "hand.json"


def refused(call, *words: str) -> None:
    """One sentence that holds all the words, and no name of Python."""
    with pytest.raises(BadInput) as caught:
        call()
    said = caught.value.sentence()
    for word in words:
        assert word in said, said
    for name in ("Error", "Traceback", "object", "__init__", "NoneType", "argument"):
        assert name not in said, said
    assert "\n" not in said and len(said) < 900


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """A hand-made tree as treescan writes it, with the files beside it."""
    path = tmp_path_factory.mktemp("whole") / "tree.json"
    write_tree(read_tree(HAND), path)
    return path


def changed(whole: Path, tmp_path: Path, change) -> Path:
    """The same tree with one entry changed."""
    folder = tmp_path / "tree"
    shutil.copytree(whole.parent, folder)
    data = json.loads((folder / "tree.json").read_text())
    change(data)
    (folder / "tree.json").write_text(json.dumps(data))
    return folder / "tree.json"


ENTRIES = {
    "source a number": (lambda d: d.update(source=5), "source is 5"),
    "beside a list": (lambda d: d.update(beside=["a"]), "beside does not name"),
    "beside elsewhere": (lambda d: d["beside"].update(terrain="../x.json"), "same folder"),
    "bands numbers": (lambda d: d["quality"].update(bands=[1.5]), "bands of quality is 1.5"),
    "limb 2^31": (lambda d: d["segments"][0].update(limb=2**31), "limb of segment 1 is 2147483648"),
    "origin a number": (lambda d: d.update(origin=1), "origin is 1"),
    "origin NaN": (lambda d: d.update(origin=[float("nan")] * 3), "origin is nan"),
    "quality a word": (lambda d: d.update(quality="x"), "quality is 'x'"),
    "limbs told as numbers": (lambda d: d["quality"].update(limbs=[1]), "limbs of quality is 1"),
    "dbh 38 m": (lambda d: d["stem"].update(dbh=38.0), "dbh of stem is 38"),
    "a union without a name": (lambda d: d["unions"][0].update(id=""), "id of union 1 is empty"),
    "a union called by a list": (lambda d: d["unions"][0].update(id=[1]), "id of union 1 is a list"),
    "a node in the sky": (lambda d: d["nodes"][2]["xyz"].__setitem__(2, 9e3), "m apart"),
    "a node of text": (lambda d: d["nodes"][1].update(radius="thick"), "radius of node 2 is 'thick'"),
    "nodes a group": (lambda d: d.update(nodes={}), "nodes is a group"),
    "no nodes": (lambda d: d.pop("nodes"), "nodes is null"),
    "a reason of numbers": (lambda d: d["quality"].update(reasons=[7]), "entry of reasons is 7"),
    "a verdict nobody knows": (lambda d: d["quality"].update(verdict="fine"), "verdict of quality is 'fine'"),
    "a unit of nothing": (lambda d: d["frame"].update(unit_m=0), "unit_m of frame is 0"),
}


@pytest.mark.parametrize(("change", "said"), ENTRIES.values(), ids=ENTRIES.keys())
def test_every_entry_of_a_tree_file_is_checked(whole, tmp_path, change, said):
    """A wrong kind or a value out of range is named."""
    refused(lambda: read_tree(changed(whole, tmp_path, change)), said)


def test_all_faults_of_a_tree_file_are_told_at_once(whole, tmp_path):
    """Three faults, one message."""

    def change(d):
        d.update(source=5, origin=1)
        d["nodes"][3]["radius"] = -1

    refused(lambda: read_tree(changed(whole, tmp_path, change)), "source", "origin", "radius of node 4")


@pytest.mark.parametrize(("name", "said"), [("t10_huge_node.json", "node 4"), ("t11_nan_parent.json", "union 1")])
def test_trees_that_crashed_are_refused(name, said):
    """A node at 9.2e18 m gave a segmentation fault; a NaN diameter a traceback."""
    refused(lambda: read_tree(FAULTS / name), said)


def test_deep_nesting_is_one_sentence(tmp_path):
    """100,000 brackets, in a tree, in statements and in an inventory."""
    for name in ("deep.json", "deep.geojson"):
        (tmp_path / name).write_text("[" * 100_000)
    refused(lambda: read_tree(tmp_path / "deep.json"), "nested too deeply")
    refused(lambda: read_rows(tmp_path / "deep.json", ("x",), "work"), "nested too deeply")
    refused(lambda: read_inventory(tmp_path / "deep.geojson"), "nested too deeply")


def terrain(change):
    """A change of terrain.json."""

    def made(folder: Path) -> None:
        data = json.loads((folder / "terrain.json").read_text())
        change(data)
        (folder / "terrain.json").write_text(json.dumps(data))

    return made


def damaged(folder: Path) -> None:
    """Bytes in the middle of the packed arrays turned over."""
    path = folder / "foliage.npz"
    with zipfile.ZipFile(path) as z:
        start = z.getinfo("density.npy").header_offset + 60
    held = bytearray(path.read_bytes())
    held[start : start + 8] = bytes(255 - b for b in held[start : start + 8])
    path.write_bytes(bytes(held))


BESIDE = {
    "damaged arrays": (damaged, "foliage.npz"),
    "arrays that are none": (lambda f: (f / "foliage.npz").write_bytes(b"PK\3\4"), "foliage.npz"),
    "no terrain": (lambda f: (f / "terrain.json").unlink(), "terrain.json"),
    "a terrain of text": (terrain(lambda d: d.update(height=[["a"]])), "terrain.json"),
    "a terrain of NaN": (terrain(lambda d: d.update(height=[[None]], measured=[[0]])), "no height"),
    "a terrain in rags": (terrain(lambda d: d["height"][0].pop()), "terrain.json"),
    "cells of nothing": (terrain(lambda d: d.update(cell=0)), "its cell"),
    "cells of a word": (terrain(lambda d: d.update(cell="x")), "terrain.json"),
    "a corner far off": (terrain(lambda d: d.update(corner=[9e18, 0])), "its corner"),
    "a terrain that is a list": (lambda f: (f / "terrain.json").write_text("[]"), "no group"),
    "surroundings without kinds": (lambda f: (f / "surroundings.json").write_text("{}"), "surroundings.json"),
}


@pytest.mark.parametrize(("harm", "said"), BESIDE.values(), ids=BESIDE.keys())
def test_every_file_beside_a_tree_is_checked(whole, tmp_path, harm, said):
    """The damaged file is named, not the tree."""
    path = changed(whole, tmp_path, lambda d: None)
    harm(path.parent)
    with pytest.raises(BadInput) as caught:
        read_tree(path)
    assert said in caught.value.sentence()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("o01_limb_inf.csv", ("row 1", "limb is 'inf'")),
        ("o02_union_unknown_with_limb.csv", ("row 1", "U99")),
        ("o03_no_why.csv", ("row 1 lacks why",)),
        ("o04_limb_2_9.csv", ("row 1", "2.9", "whole number")),
        ("o05_number.json", ("no list of rows called override",)),
    ],
)
def test_odd_statements_are_refused(name, words):
    """Limb inf, an unknown union beside a limb, no why, limb 2.9, a number for a table."""
    refused(lambda: read_overrides(FAULTS / name, read_tree(HAND).graph), *words)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("w01_weight_zero.csv", ("row 1", "weight is 0")),
        ("w02_weight_nan.csv", ("row 1", "weight is 'nan'")),
        ("w03_limb_superscript.csv", ("row 1", "no limb")),
    ],
)
def test_odd_work_is_refused(name, words):
    """Weights 0 and NaN, a digit that is no number."""
    refused(lambda: read_work([str(FAULTS / name)], read_tree(HAND), PlanningSettings(), 1), *words)


def test_all_rows_at_fault_are_told(tmp_path):
    """Two rows, one message."""
    path = tmp_path / "w.csv"
    path.write_text("x,y,z,weight\n0,0,inf,1\n0,0,4,1\n1e9,0,4,1\n0,0,4,-2\n")
    refused(
        lambda: read_work([str(path)], read_tree(HAND), PlanningSettings(), 1), "row 1: z", "row 3 lies", "row 4"
    )


@pytest.mark.parametrize("asked", ["sample:100000000", "sample:" + "9" * 50, "sample:²", "sample:5:0", "sample:5:"])
def test_absurd_samples_are_refused(asked):
    """A hundred million points would take all memory."""
    refused(lambda: read_work([asked], read_tree(HAND), PlanningSettings(), 1), "sample:")


def test_odd_settings_are_refused(tmp_path):
    """A list of words for a number, no numbers, booleans, a number nobody can hold."""
    refused(lambda: read_settings(FAULTS / "s01_list_of_words.toml"), "loads.mu_bark")
    for text in ("climber_mass = nan", "climber_mass = inf", "climber_mass = true", "samples = 1" + "0" * 400):
        path = tmp_path / "s.toml"
        path.write_text(f"[loads]\n{text}\n")
        refused(lambda p=path: read_settings(p), "loads.")


def test_an_impossible_throw_is_refused(tmp_path, capsys):
    """1e26 m up."""
    assert run(["throws", str(FAULTS / "throws_1e26.csv"), "-o", str(tmp_path / "t.toml")]) == 2
    err = capsys.readouterr().err
    assert "line 4" in err and err.count("\n") == 1


@pytest.mark.parametrize("call", [["--jobs", "100000"], ["--seed", "-1"], ["--jobs", "0"], ["--climber-mass", "nan"]])
def test_odd_options_are_refused(call, tmp_path, capsys):
    """More cores than there are, a seed below zero."""
    assert run(["plan", str(HAND), "-o", str(tmp_path / "o"), *call]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_odd_inventories(tmp_path):
    """An empty table, a damaged database, a mapping that is none, a diameter in the wrong unit; one empty id is none."""
    refused(lambda: read_inventory(FAULTS / "inv_empty.csv"), "inv_empty.csv")
    refused(lambda: read_inventory(FAULTS / "bad_inventory.gpkg"), "bad_inventory.gpkg")
    refused(lambda: field_names(["id"], "f.toml"), "fields")
    wide = tmp_path / "wide.csv"
    wide.write_text("id,dbh_cm\na,38\nb,3800\n")
    refused(lambda: read_inventory(wide), "record 2", "3800")
    assert list(read_inventory(FAULTS / "inv_null_id.geojson")["inv_id"]) == ["a", ""]


@pytest.mark.parametrize("value", ["=1+1", "+1+1", "-2+3", "@SUM(A1)", "'=x", "''=x", "\tx", "'twas", "oak", "", "2-3"])
def test_cells_are_guarded_and_read_back(value):
    """No cell starts a formula, and every cell reads back as it was."""
    assert not guarded(value).startswith(("=", "+", "-", "@", "\t", "\r"))
    assert unguarded(guarded(value)) == value


def test_formulas_reach_no_table_and_come_back(tmp_path):
    """Names of an inventory that would run in a spreadsheet: text in inventory.csv, unchanged when read again."""
    import geopandas

    from treescan.outputs.gis.inventory_files import write_inventory

    path = tmp_path / "trees.csv"
    path.write_text('id,x,y,"=cmd"\n"=HYPERLINK(""http://x"",""y"")",0,0,@a\n+1+1,1,1,-2\n')
    results = geopandas.GeoDataFrame(
        {"folder": ["f"], "source": ["s.laz"], "dbh_m": [0.3]}, geometry=geopandas.points_from_xy([500], [500])
    )
    inventory = read_inventory(path)
    written = write_inventory(joined(inventory, results), tmp_path / "out")[0]

    import csv

    with written.open(newline="") as f:
        cells = [c for row in csv.reader(f) for c in row]
    assert not [c for c in cells if c.startswith(("=", "+", "@"))]
    again = read_inventory(written)
    assert list(again["inv_id"]) == list(inventory["inv_id"]) == ['=HYPERLINK("http://x","y")', "+1+1"]
    assert list(again["=cmd"]) == ["@a", "-2"]


class Listener:
    """Counts who calls on some ports of this machine."""

    def __init__(self, *ports: int) -> None:
        self.calls: list[int] = []
        self.held = []
        for port in ports:
            s = socket.socket()
            s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            s.bind(("127.0.0.1", port))
            s.listen()
            self.held.append(s)
            threading.Thread(target=self._wait, args=(s, port), daemon=True).start()

    def _wait(self, s: socket.socket, port: int) -> None:
        try:
            while True:
                s.accept()[0].close()
                self.calls.append(port)
        except OSError:
            pass

    def close(self) -> None:
        for s in self.held:
            s.shutdown(socket.SHUT_RDWR)
            s.close()


@pytest.fixture
def listener():
    """Listens on the ports the hostile files name."""
    try:
        made = Listener(9911, 9913)
    except OSError:
        pytest.skip("the ports are taken")
    yield made
    made.close()


SYSTEM = '{"type":"FeatureCollection","crs":%s,"features":[{"type":"Feature","properties":{"id":"a"},%s"geometry":{"type":"Point",%s"coordinates":[0,0]}}]}'
URL = '{"type":"link","properties":{"href":"http://127.0.0.1:9911/x"}}'
NAMED = '{"type":"name","properties":{"name":"http://127.0.0.1:9911/x"}}'
HOSTILE = {
    "link.geojson": SYSTEM % (URL, "", ""),
    "named.geojson": SYSTEM % (NAMED, "", ""),
    "url.geojson": SYSTEM % ('{"type":"url","properties":{"url":"http://127.0.0.1:9911/x"}}', "", ""),
    "inner.geojson": SYSTEM % ("null", "", f'"crs":{NAMED},'),
    "virtual.gpkg": (FAULTS / "vrt_as_inventory.geojson").read_text(),
    "virtual.shp": (FAULTS / "vrt_as_inventory.geojson").read_text(),
    "virtual.csv": (FAULTS / "vrt_as_inventory.geojson").read_text(),
    "virtual.vrt": (FAULTS / "vrt_as_inventory.geojson").read_text(),
}


def test_no_command_calls_anybody(listener, tmp_path, capsys):
    """Hostile files and addresses into every command: refused, and nobody on this machine is called."""
    for name, text in HOSTILE.items():
        (tmp_path / name).write_text(text)
    sources = [str(tmp_path / name) for name in HOSTILE]
    sources += [str(FAULTS / "vrt_as_inventory.geojson"), "http://127.0.0.1:9911/x.geojson"]
    sources += ["/vsicurl/http://127.0.0.1:9911/x.gpkg", "/vsizip//vsicurl/http://127.0.0.1:9911/x.zip"]
    plan = tmp_path / "p"
    plan.mkdir()
    for source in sources:
        assert run(["join", source, str(plan), "-o", str(tmp_path / "j")]) == 2, source
    for cloud in (str(FAULTS / "xxe_oob.e57"), "http://127.0.0.1:9911/x.laz", "/vsicurl/http://127.0.0.1:9911/x.las"):
        assert run(["inspect", cloud]) == 2
        assert run(["plan", cloud, "-o", str(tmp_path / "o")]) == 2
        assert run(["trace", cloud, "-o", str(tmp_path / "t.json")]) == 2
    assert "Traceback" not in capsys.readouterr().err
    assert listener.calls == []


def test_the_listener_hears(listener):
    """The listener of the test above would notice."""
    socket.create_connection(("127.0.0.1", 9911)).close()
    for _ in range(100):
        if listener.calls:
            break
        threading.Event().wait(0.02)
    assert listener.calls == [9911]


@pytest.mark.parametrize("coding", ["utf-8", "utf-16", "utf-16-be", "cp037"])
@pytest.mark.parametrize("pad", [0, 940])
def test_e57_with_a_document_type_is_refused_in_every_coding(tmp_path, coding, pad):
    """Also where the declaration lies across the end of a page, or its letters are of another coding."""
    import struct

    xml = ('<?xml version="1.0"?>' + " " * pad + '<!DOCTYPE a SYSTEM "http://127.0.0.1:9913/x"><a/>').encode(coding)
    pages = [xml[:972]] + [xml[k : k + 1020] for k in range(972, len(xml), 1020)]
    body = b"crc!".join(p for p in pages) + b"crc!"
    head = b"ASTM-E57" + struct.pack("<IIQQQQ", 1, 0, 48 + len(body), 48, len(xml), 1024)
    (tmp_path / "x.e57").write_bytes(head + body)
    refused(lambda: read_cloud(tmp_path / "x.e57"), "x.e57", "description")


@pytest.mark.parametrize(
    ("fault", "code", "said"),
    [
        (OSError(28, "No space left on device"), 1, "disk is full"),
        (PermissionError(13, "denied", "/a/b"), 2, "/a/b"),
        (RecursionError("x"), 2, "nested"),
        (UnicodeDecodeError("utf-8", b"", 0, 1, "x"), 2, "damaged"),
        (ZeroDivisionError("x"), 1, "could not go on"),
        (AttributeError("'NoneType' object has no attribute 'x'"), 1, "could not go on"),
    ],
)
def test_the_last_net(fault, code, said, monkeypatch, capsys, tmp_path):
    """Any fault: one sentence with the file, what was being done, and a log that exists; no name of Python."""

    def raises(*a, **k):
        raise fault

    monkeypatch.setattr(commands, "app", raises)
    assert run(["plan", str(HAND), "-o", str(tmp_path / "o")]) == code
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and said in err and "during plan" in err
    assert "NoneType" not in err and "Error" not in err
    log = Path(err.split("the whole log is in ")[1].rstrip(".\n"))
    assert type(fault).__name__ in log.read_text()
    log.unlink()


LIMIT = """
import re, sys
from treescan.faces.cli.commands import run
code = run(sys.argv[1:])
own = re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1]
print("PEAK", int(own) // 1024)
sys.exit(code)
"""
"""The peak is read from the process itself: `ru_maxrss` is handed down by the process that starts it."""


@pytest.mark.parametrize(
    ("command", "name"),
    [("inspect", "chunk_size_memory.laz"), ("trace", "far_strays.pcd"), ("trace", "scale_minus_one.las")],
)
def test_small_files_take_little_memory(command, name, tmp_path):
    """Files of 18 to 103 kB that took 2 to 3 GB stay under 500 MB, and are refused for the true reason."""
    call = [command, str(FAULTS / name), *(["-o", str(tmp_path / "t.json")] if command == "trace" else [])]
    done = subprocess.run(
        [sys.executable, "-c", LIMIT, *call],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin"} | _cache(),
    )
    assert done.returncode == 2, done.stderr
    assert done.stderr.startswith("treescan: ") and done.stderr.count("\n") == 1
    peak = int(done.stdout.split("PEAK")[1])
    assert peak < 500, peak


def _cache() -> dict[str, str]:
    import os

    return {k: v for k, v in os.environ.items() if k.startswith("NUMBA")}


def test_numbers_stay_numbers():
    """A guard for text leaves figures alone."""
    assert guarded(-2.5) == -2.5 and np.isnan(guarded(float("nan")))


def test_a_cloud_without_a_tree_says_what_to_try(tmp_path, capsys):
    """All of it lay outside of every crown: a traceback once."""
    assert run(["trace", str(FAULTS / "crowns_empty.ply"), "-o", str(tmp_path / "t.json"), "--quiet"]) == 2
    err = capsys.readouterr().err
    assert "no tree found" in err and "--unit" in err and "--at" in err


@pytest.mark.parametrize("change", ["code", "values"])
def test_findings_of_a_tree_file_that_nobody_knows_are_refused(whole, tmp_path, change, capsys):
    """A code without words, or without its values, would end in the report."""

    def made(d):
        known = {"code": "list_more", "values": {"n": 3}}
        d["quality"]["reasons"] = [known | ({"code": "not_known"} if change == "code" else {"values": {}})]

    assert run(["plan", str(changed(whole, tmp_path, made)), "-o", str(tmp_path / "o"), "--quiet"]) == 2
    assert "finding" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()


def test_no_talk_of_programmers_reaches_a_message(whole, tmp_path, capsys):
    """Words of libraries are told without their own names for faults; what is no number in a file is not told twice."""
    folder = tmp_path / "tree"
    shutil.copytree(whole.parent, folder)
    held = bytearray((folder / "foliage.npz").read_bytes())
    held[-12:-8] = b"\xff\xff\xff\x7f"
    (folder / "foliage.npz").write_bytes(bytes(held))
    (tmp_path / "inv.csv").write_text("id,x,y\n1,2,3\n4,5,6,7,8\n")
    cut = (FAULTS / "chunk_size_memory.laz").read_bytes()[:9000]
    (tmp_path / "cut.laz").write_bytes(cut)
    calls = (
        ["trace", str(folder / "tree.json"), "-o", str(tmp_path / "t.json")],
        ["join", str(tmp_path / "inv.csv"), str(tmp_path), "-o", str(tmp_path / "j")],
        ["trace", str(tmp_path / "cut.laz"), "-o", str(tmp_path / "t.json")],
    )
    for call in calls:
        assert run([*call, "--quiet"]) == 2
        err = capsys.readouterr().err
        assert err.count("treescan: ") == 1
        assert not re.search(r"Errno|Error|C error|Traceback|argument", err), err


def test_what_libraries_say_to_programmers_stays_unsaid(monkeypatch, tmp_path, capfd):
    """A warning from below is not printed beside the result."""
    real = jobs.read_tree

    def talking(name):
        warnings.warn("This version of a library", UserWarning, stacklevel=1)
        return real(name)

    monkeypatch.setattr(jobs, "read_tree", talking)
    monkeypatch.setattr(sys, "warnoptions", [])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert run(["trace", str(HAND), "-o", str(tmp_path / "t.json"), "--quiet"]) == 0
    assert "library" not in "".join(capfd.readouterr())


ENDLESS = ("--site", "--cuts", "--overrides", "--settings", "--record", "--work")


@pytest.mark.parametrize("option", ENDLESS)
@pytest.mark.parametrize("name", ["/dev/zero", "http://127.0.0.1:1/x.geojson", "/vsicurl/x.geojson"])
def test_no_option_takes_what_is_no_file(option, name, tmp_path, capsys):
    """A device was read without end, an address was told as a file that is not there."""
    assert run(["plan", str(HAND), "-o", str(tmp_path / "o"), option, name, "--quiet"]) == 2
    err = capsys.readouterr().err
    assert "not an ordinary file" in err or "is an address" in err or "neither a file nor a word" in err
    assert not (tmp_path / "o").exists()


NEVER_END = (
    "inspect X",
    "trace X -o o.json",
    "trace HAND --also X -o o.json",
    "trace HAND --settings X -o o.json",
    "trace HAND -o X",
    "plan X -o o",
    "plan HAND -o X",
    "plan --show-settings --settings X",
    "plan HAND -o o --settings=X",
    "plan HAND -o o --session X",
    "plan HAND -o o --wires X",
    "join X . -o o",
    "join . X -o o",
    "join INV . -o o --fields X",
    "join INV . -o X",
    "throws X -o o.toml",
    "throws THROWS -o o.toml --settings X",
    "throws THROWS -o X",
    "batch X -o o",
    "batch HAND -o X",
    "batch HAND -o o --inventory X",
    "batch HAND -o o --inventory INV --fields X",
    "batch HAND -o o --settings X",
    "serve X -o o",
    "serve HAND -o X",
)


class StillRunning(BaseException):
    """A command that should have ended at once did not."""


def _ends_soon(signum, frame):
    raise StillRunning


@pytest.fixture
def soon():
    """30 s, then the test fails: a pipe nobody writes to is waited for without end, a device of zeros fills the memory."""
    old = signal.signal(signal.SIGALRM, _ends_soon)
    signal.alarm(30)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, old)


@pytest.mark.parametrize("call", NEVER_END)
def test_no_command_reads_or_writes_what_never_ends(call, tmp_path, capsys, soon):
    """A device and a pipe, wherever a file stands in the call: refused at once, in one sentence that names it."""
    os.mkfifo(tmp_path / "pipe")
    there = {"HAND": str(HAND), "INV": str(FAULTS / "inv.csv"), "THROWS": str(FAULTS / "throws.csv"), ".": str(tmp_path)}
    for odd in ("/dev/zero", str(tmp_path / "pipe")):
        words = [there.get(w, str(tmp_path / w) if w in ("o", "o.json", "o.toml") else w.replace("X", odd)) for w in call.split()]
        assert run(words) == 2
        err = capsys.readouterr().err
        assert err.count("treescan: ") == 1 and f"{odd}: is not an ordinary file" in err
    assert [p.name for p in tmp_path.iterdir()] == ["pipe"]


@pytest.mark.parametrize("name", ["terrain.json", "surroundings.json", "foliage.npz", "scan_points.npz"])
def test_a_pipe_beside_a_tree_is_refused(name, tmp_path, capsys, soon):
    """It is met only when the tree is read."""
    hand = read_tree(HAND)
    write_tree(replace(hand, points=scan_points((hand.graph.xyz,))), tmp_path / "tree.json")
    (tmp_path / name).unlink()
    os.mkfifo(tmp_path / name)
    assert run(["trace", str(tmp_path / "tree.json"), "-o", str(tmp_path / "o.json"), "--quiet"]) == 2
    assert f"{name}: is not an ordinary file" in capsys.readouterr().err


@pytest.mark.parametrize("output", ["new/", "new/.", "./new//"])
@pytest.mark.parametrize("call", [["trace", str(HAND)], ["throws", str(FAULTS / "throws.csv")]])
def test_a_folder_where_a_file_is_written_is_refused(call, output, tmp_path, capsys, monkeypatch):
    """`-o new/` wrote a file called new."""
    monkeypatch.chdir(tmp_path)
    assert run([*call, "-o", output, "--quiet"]) == 2
    assert "is a folder, not a file" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_words_longer_than_the_sheet_are_refused(tmp_path, capsys):
    """5,000 letters for a species ended in the writer of the sheet."""
    for words in (["--species", "x" * 5000], ["--client", "y" * 300], ["--scope", "z " * 400]):
        assert run(["plan", str(HAND), "-o", str(tmp_path / "o"), *words, "--quiet"]) == 2
        assert "letters long" in capsys.readouterr().err


def test_numbers_no_column_holds_raise_no_warning(tmp_path):
    """A signalling NaN in a PLY and an intensity of 1e300 in a table."""
    xyz = np.random.default_rng(1).random((500, 3)).astype("<f4")
    raw = bytearray(xyz.tobytes())
    raw[4:8] = b"\x01\x00\xa0\x7f"
    head = "ply\nformat binary_little_endian 1.0\nelement vertex 500\n" + "".join(f"property float {k}\n" for k in "xyz") + "end_header\n"
    (tmp_path / "a.ply").write_bytes(head.encode() + bytes(raw))
    rows = np.column_stack([xyz.astype(float), np.full(500, 1e300)])
    np.savetxt(tmp_path / "a.csv", rows, "%.6g", ",", header="x,y,z,intensity", comments="")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(read_cloud(tmp_path / "a.ply")) == 499
        assert len(read_cloud(tmp_path / "a.csv")) == 500
