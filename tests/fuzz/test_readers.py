"""Mutated side files through their readers: read, or refused in one sentence; never a traceback, never slow.

`python tests/fuzz/test_readers.py 20000 [FIRST SEED]` runs as many by hand and names the seeds that fail.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from mutate import mutated

from treescan.cloud.read import read_cloud
from treescan.errors import BadInput
from treescan.faces.cli.jobs import _check_findings, read_settings
from treescan.faces.user_files.asked_work import read_work
from treescan.faces.user_files.drawn import read_site
from treescan.faces.user_files.stated import read_cuts, read_overrides
from treescan.outputs.gis.inventory import read_inventory
from treescan.planning.settings import PlanningSettings
from treescan.throw.ballistics.own_record import read_record
from treescan.trees.scan_points import scan_points
from treescan.wood.files.read_tree import read_tree
from treescan.wood.files.write_tree import write_tree

FAULTS = Path(__file__).parent.parent / "faults"
SLOWEST = 20.0
"""[s]"""


def targets(folder: Path) -> list[tuple[Path, Callable[[], object]]]:
    """Every small file and the reader it goes through."""
    tree = read_tree(FAULTS / "hand.json")
    write_tree(replace(tree, points=scan_points((tree.graph.xyz,))), folder / "tree.json")
    for name in ("hand.json", "throws.csv", "inv.csv", "inv_null_id.geojson", "fast.toml", "site.geojson", "small.xyz"):
        shutil.copy(FAULTS / name, folder / name)
    (folder / "work.csv").write_text("name,kind,x,y,z,weight\na,prune,1,0,4,1\nb,cut,0,0,5,2\n")
    (folder / "said.csv").write_text("kind,union,limb,value,who,when,why\nrefused,U01,,,J,9,x\ndefect,,1,0.5,J,9,y\n")
    (folder / "cuts.csv").write_text("order,union,life_support\n1,U02,U01\n")

    def whole_tree() -> None:
        _check_findings(read_tree(folder / "tree.json"), "tree.json")

    readers: dict[str, Callable[[], object]] = {
        "tree.json": whole_tree,
        "terrain.json": whole_tree,
        "surroundings.json": whole_tree,
        "foliage.npz": whole_tree,
        "scan_points.npz": whole_tree,
        "hand.json": lambda: read_tree(folder / "hand.json"),
        "throws.csv": lambda: read_record(folder / "throws.csv"),
        "inv.csv": lambda: read_inventory(folder / "inv.csv"),
        "inv_null_id.geojson": lambda: read_inventory(folder / "inv_null_id.geojson"),
        "fast.toml": lambda: read_settings(folder / "fast.toml"),
        "site.geojson": lambda: read_site(folder / "site.geojson", tree.frame, tree.beside.terrain),
        "small.xyz": lambda: read_cloud(folder / "small.xyz"),
        "work.csv": lambda: read_work([str(folder / "work.csv")], tree, PlanningSettings(), 1),
        "said.csv": lambda: read_overrides(folder / "said.csv", tree.graph),
        "cuts.csv": lambda: read_cuts(folder / "cuts.csv", tree.graph),
    }
    return [(folder / name, reader) for name, reader in readers.items()]


def fuzz(first: int, count: int, folder: Path) -> list[str]:
    """What went wrong: seed, file and fault."""
    faults = []
    files = targets(folder)
    whole = {path: path.read_bytes() for path, _ in files}
    for seed in range(first, first + count):
        path, reader = files[seed % len(files)]
        path.write_bytes(mutated(whole[path], seed))
        began = time.perf_counter()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                reader()
        except BadInput as err:
            if "\n" in err.sentence() or len(err.sentence()) > 3000:
                faults.append(f"{seed} {path.name}: a sentence of {len(err.sentence())} letters")
        except Exception as err:
            faults.append(f"{seed} {path.name}: {err!r:.150}")
        if time.perf_counter() - began > SLOWEST:
            faults.append(f"{seed} {path.name}: slow")
        path.write_bytes(whole[path])
    return faults


def test_a_hundred_odd_files(tmp_path):
    """The quick part."""
    assert fuzz(0, 100, tmp_path) == []


@pytest.mark.slow
def test_three_thousand_odd_files(tmp_path):
    """The long part."""
    assert fuzz(100, 3000, tmp_path) == []


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        found = fuzz(int((sys.argv[2:] or ["10000"])[0]), int(sys.argv[1]), Path(place))
    print("\n".join(found) or "no fault")
    sys.exit(bool(found))
