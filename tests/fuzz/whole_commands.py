"""Whole commands on mutated inputs, some after another in a process parted from one that has everything loaded, so that most runs cost
hundredths of a second.

    python whole_commands.py COUNT [FIRST SEED]

Prints a line for every fault (seed, command, file, what went wrong) and a line with what was seen; ends with 1 where there was a fault. A
fault: a traceback or anything else that only the last net caught, a crash, more than `SLOWEST` of processor time or `LONGEST` by the clock,
more than `MOST` of memory, a message that is no sentence, an input that changed, a file left half-written.
"""

from __future__ import annotations

import os

# ruff: noqa: E402
os.environ["NUMBA_THREADING_LAYER"], os.environ["NUMBA_NUM_THREADS"] = "workqueue", "1"  # can be parted

import gc
import json
import re
import resource
import shutil
import signal
import struct
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import laspy
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from mutate import mutated

from treescan.atomic import LOCK, PART
from treescan.faces.cli.commands import run
from treescan.faces.guard import last_net
from treescan.trees.scan_points import scan_points
from treescan.wood.files.read_tree import read_tree
from treescan.wood.files.write_tree import write_tree

FAULTS = Path(__file__).parent.parent / "faults"
SLOWEST, LONGEST, MOST = 20.0, 240, 1000
"""Processor time [s]; by the clock, on a busy machine [s]; peak resident memory with the 350 MB of all that is loaded [MB]."""
BATCH, PRIME = 50, 7919
"""Seeds run in one process; strews the cases over the seeds."""
ROOM = 12 << 30
"""Address space of a run: what asks for more is told that there is none. [bytes]"""
TREE = ("tree.json", "terrain.json", "surroundings.json", "foliage.npz", "scan_points.npz")
SIDE = {"site.geojson": "--site", "work.csv": "--work", "work.geojson": "--work", "said.csv": "--overrides", "cuts.csv": "--cuts"}
NAMES_OF_PYTHON = re.compile(r"Traceback|Error\b|Warning\b|NoneType|__|<class|object at 0x|numpy|dtype|argument")


@dataclass(frozen=True)
class Case:
    """A command, and the file in it that is changed; how often it comes for every other."""

    words: tuple[str, ...]
    changed: str
    often: int = 1


def cases() -> list[Case]:
    """Every command on every kind of file it takes; cheap ones often, whole plans seldom."""
    out = []
    for cloud in ("a.xyz", "a.csv", "a.pts", "a.las", "a.laz", "ascii.ply", "a.ply", "ascii.pcd", "a.pcd"):
        out += [Case(("inspect", cloud), cloud, 3), Case(("trace", cloud, "-o", "out/tree.json", "--at", "0,0"), cloud, 2)]
    out += [Case(("inspect", "a.e57"), "a.e57"), Case(("trace", "a.las", "--also", "a.laz", "-o", "out/tree.json"), "a.laz")]
    for part in TREE:
        out.append(Case(("trace", f"tree/{part}" if part == "tree.json" else "tree/tree.json", "-o", "out/tree.json"), f"tree/{part}", 6))
        out.append(Case(("plan", "tree/tree.json", "-o", "out", "--settings", "fast.toml"), f"tree/{part}", 1))
    out.append(Case(("plan", "hand.json", "-o", "out", "--settings", "fast.toml"), "hand.json"))
    for name, option in SIDE.items():
        out.append(Case(("plan", "hand.json", "-o", "out", "--settings", "fast.toml", option, name), name))
    out.append(Case(("plan", "hand.json", "-o", "out", "--settings", "fast.toml"), "fast.toml"))
    inventory = ("inv.csv", "--tree-number", "T2")
    out.append(Case(("plan", "hand.json", "-o", "out", "--settings", "fast.toml", "--record", *inventory), "inv.csv"))
    out += [Case(("throws", "throws.csv", "-o", "out/own.toml"), "throws.csv", 8)]
    for name in ("inv.csv", "inv.geojson", "inv.gpkg"):
        out.append(Case(("join", name, "planned", "-o", "out"), name, 6))
    for part in ("anchors.json", "tree.json", "run.json", "standing.json"):
        out.append(Case(("join", "inv.csv", "planned", "-o", "out"), f"planned/{part}", 3))
    out.append(Case(("join", "inv.csv", "planned", "-o", "out", "--fields", "fields.toml"), "fields.toml", 2))
    return [case for case in out for _ in range(case.often)]


def make_inputs(folder: Path) -> None:
    """A sound file of every kind."""
    import geopandas
    import shapely

    for name in ("hand.json", "throws.csv", "inv.csv", "fast.toml", "site.geojson"):
        shutil.copy(FAULTS / name, folder / name)
    (folder / "work.csv").write_text("name,kind,x,y,z,weight\na,prune,1,0,4,1\nb,cut,0,0,5,2\n")
    (folder / "said.csv").write_text("kind,union,limb,value,who,when,why\nrefused,U01,,,J,9,x\ndefect,,1,0.5,J,9,y\n")
    (folder / "cuts.csv").write_text("order,union,life_support\n1,U02,U01\n")
    (folder / "fields.toml").write_text('[fields]\nid = "tree_id"\nx = "x"\ny = "y"\n')
    place = {"type": "Feature", "properties": {"name": "w", "kind": "prune", "height_m": 4}, "geometry": {"type": "Point", "coordinates": [1, 0]}}
    (folder / "work.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [place]}))
    trees = geopandas.GeoDataFrame({"id": ["T1", "T2"], "species": ["oak", "ash"], "dbh": [40, 30]}, geometry=[shapely.Point(0, 0), shapely.Point(9, 9)], crs="EPSG:25832")
    trees.to_file(folder / "inv.geojson", driver="GeoJSON")
    trees.to_file(folder / "inv.gpkg", driver="GPKG")
    _make_clouds(folder)
    hand = read_tree(folder / "hand.json")
    (folder / "tree").mkdir()
    write_tree(replace(hand, points=scan_points((hand.graph.xyz,))), folder / "tree" / "tree.json")
    fast = ["--settings", str(folder / "fast.toml"), "--quiet"]
    assert run(["plan", str(folder / "hand.json"), "-o", str(folder / "planned"), *fast]) == 0


def _make_clouds(folder: Path) -> None:
    """The small cloud in every format."""
    xyz = np.loadtxt(FAULTS / "small.xyz")[:, :3]
    shade = np.arange(len(xyz)) % 250
    np.savetxt(folder / "a.xyz", xyz, "%.3f")
    np.savetxt(folder / "a.csv", np.column_stack([xyz, shade]), "%.3f", ",", header="x,y,z,intensity", comments="")
    np.savetxt(folder / "a.pts", np.column_stack([xyz, shade]), "%.3f", header=str(len(xyz)), comments="")
    las = laspy.LasData(laspy.LasHeader(point_format=6, version="1.4"))
    las.header.scales = [0.001] * 3
    las.xyz, las.intensity = xyz, shade
    las.write(str(folder / "a.las"))
    las.write(str(folder / "a.laz"))
    names = "\n".join(f"property float {k}" for k in "xyz")
    for name, form in (("ascii.ply", "ascii"), ("a.ply", "binary_little_endian")):
        head = f"ply\nformat {form} 1.0\nelement vertex {len(xyz)}\n{names}\nend_header\n".encode()
        (folder / name).write_bytes(head + _body(xyz, form == "ascii"))
    for name, form in (("ascii.pcd", "ascii"), ("a.pcd", "binary")):
        n = len(xyz)
        size = f"SIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH {n}\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS {n}\nDATA {form}\n"
        head = b"# .PCD v0.7\nVERSION 0.7\nFIELDS x y z\n" + size.encode()
        (folder / name).write_bytes(head + _body(xyz, form == "ascii"))
    shutil.copy(FAULTS / "xxe_oob.e57", folder / "a.e57")
    try:
        import pye57
    except ImportError:
        return
    (folder / "a.e57").unlink()
    e57 = pye57.E57(str(folder / "a.e57"), mode="w")
    e57.write_scan_raw({f"cartesian{k}": xyz[:, i].copy() for i, k in enumerate("XYZ")})
    e57.close()


def _body(xyz: np.ndarray, ascii_: bool) -> bytes:
    """Points as text, or as floats of 32 bits."""
    if ascii_:
        return "".join(f"{x:.3f} {y:.3f} {z:.3f}\n" for x, y, z in xyz).encode()
    return b"".join(struct.pack("<3f", *p) for p in xyz)


def prepare(said: Path, net: Path) -> None:
    """Words of this process go to a file, and what only the last net catches leaves its traceback in another."""
    resource.setrlimit(resource.RLIMIT_AS, (ROOM, ROOM))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    handle = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND)
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    real = last_net.told

    def told(err, arguments):
        net.write_text("".join(traceback.format_exception(err)), errors="backslashreplace")
        return real(err, arguments)

    last_net.told = told
    last_net._logged = lambda err, arguments, log_file: ""


def one(case: Case, seed: int, folder: Path) -> tuple[str, list[str]]:
    """How a run ended, and what was wrong with it."""
    path, said, net = folder / case.changed, folder / "said.txt", folder / "net.txt"
    whole = path.read_bytes()
    odd = mutated(whole, seed)
    path.write_bytes(odd)
    net.unlink(missing_ok=True)
    os.truncate(said, 0)
    begun = time.process_time()
    signal.setitimer(signal.ITIMER_PROF, SLOWEST)
    signal.alarm(LONGEST)
    code = run(list(case.words))
    signal.alarm(0)
    signal.setitimer(signal.ITIMER_PROF, 0.0)
    sys.stdout.flush()
    sys.stderr.flush()
    used = time.process_time() - begun
    text = said.read_text(errors="backslashreplace")
    faults = []
    if code not in (0, 1, 2):
        faults.append(f"ended with {code}: {text[-200:]!r}")
    if net.exists():
        faults.append(f"only the last net caught it: {net.read_text().strip().splitlines()[-1][:200]}")
        shutil.copy(net, folder.parent / f"net_{seed}.txt")
    if used > SLOWEST:
        faults.append(f"took {used:.0f} s")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    if peak > MOST and len(odd) < 1 << 20:
        faults.append(f"took {peak} MB")
    if code in (1, 2) and not net.exists():
        lines = [line for line in text.splitlines() if line.startswith("treescan: ")]
        if len(lines) != 1 or len(lines[0]) > 3000 or NAMES_OF_PYTHON.search(text.replace(case.changed, "")):
            faults.append(f"no sentence: {text[:300]!r}")
    elif code == 0 and re.search(r"Traceback|Warning:|Error:", text):
        faults.append(f"said beside its result: {text[:300]!r}")
    if path.read_bytes() != odd:
        faults.append("its input was changed")
    left = [p for p in folder.rglob("*") if p.name.startswith((PART, LOCK, "new_"))]
    if left:
        faults.append(f"left {[p.name for p in left]}")
    tidy(folder, path, whole)
    return {0: "done", 2: "refused"}.get(code, f"ended with {code}"), faults


def tidy(folder: Path, path: Path, whole: bytes) -> None:
    """The inputs as they were, and nothing else."""
    path.write_bytes(whole)
    shutil.rmtree(folder / "out", ignore_errors=True)
    for left in [p for p in folder.rglob("*") if p.name.startswith((PART, LOCK, "new_"))]:
        shutil.rmtree(left) if left.is_dir() else left.unlink()


def batch(seeds: list[int], every: list[Case], folder: Path) -> list[tuple[int, str, list[str]]]:
    """Some seeds, one after another in a process parted from this one; it ends early where one of them took too much or killed it."""
    told = folder.parent / "told.txt"
    told.write_text("")
    child = os.fork()
    if child == 0:
        code = 70
        try:
            os.chdir(folder)
            prepare(folder / "said.txt", folder / "net.txt")
            with told.open("a") as lines:
                for seed in seeds:
                    how, faults = one(every[seed * PRIME % len(every)], seed, folder)
                    print(json.dumps([seed, how, faults]), file=lines, flush=True)
                    if any(fault.startswith("took") for fault in faults):
                        break
            code = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    out = [tuple(json.loads(line)) for line in told.read_text().splitlines()]
    if code != 0:
        seed = seeds[len(out)]
        case = every[seed * PRIME % len(every)]
        out.append((seed, f"ended with {code}", [f"ended with {code}: {(folder / 'said.txt').read_text(errors='replace')[-300:]!r}"]))
        path = folder / case.changed
        tidy(folder, path, (folder.parent / "whole" / case.changed).read_bytes())
    return out


def fuzz(first: int, count: int, folder: Path) -> bool:
    """Every seed in turn; true where none had a fault."""
    given = folder / "given"
    given.mkdir()
    make_inputs(given)
    every = cases()
    out = os.dup(1)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    for case in sorted(set(every), key=every.index):
        if "--also" in case.words or case.changed in ("a.e57", "a.laz"):
            continue  # threads and children of libraries, which cannot be parted
        assert run([w if w.startswith("-") else _there(given, w) for w in case.words] + ([] if case.words[0] == "inspect" else ["--quiet"])) == 0
        shutil.rmtree(given / "out", ignore_errors=True)
    sys.stdout.flush()
    os.dup2(out, 1)
    gc.collect()
    gc.freeze()
    shutil.copytree(given, folder / "whole")
    seen: Counter[str] = Counter()
    sound, start = True, first
    while start < first + count:
        for seed, how, faults in batch(list(range(start, min(start + BATCH, first + count))), every, given):
            case = every[seed * PRIME % len(every)]
            seen[f"{case.words[0]} {how}"] += 1
            for fault in faults:
                sound = False
                print(f"{seed}\t{case.words[0]}\t{case.changed}\t{fault}", flush=True)
            start = seed + 1
        if start % (5 * BATCH) == 0:
            print(f"# before {start}: {dict(sorted(seen.items()))}", flush=True)
    print(f"# {count} runs: {dict(sorted(seen.items()))}")
    return sound


def _there(folder: Path, word: str) -> str:
    """A word of a command with the folder before what is a file in it."""
    return str(folder / word) if (folder / word).exists() or word.startswith("out") else word


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(prefix="fuzz-") as place:
        good = fuzz(int((sys.argv[2:] or ["10000"])[0]), int(sys.argv[1]), Path(place))
        kept = [p for p in Path(place).glob("net_*.txt")]
        if kept:
            at = Path(tempfile.mkdtemp(prefix="fuzz-nets-"))
            for p in kept:
                shutil.copy(p, at)
            print(f"# tracebacks are in {at}")
    sys.exit(not good)
