"""`treescan plan --again run.json`: the same inputs, options and settings, and the same bytes."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pandas
import pytest

from treescan.faces.cli.commands import run

FAULTS = Path(__file__).parent.parent / "faults"


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with inputs of several roles, and the plan made from them in `out`."""
    folder = tmp_path_factory.mktemp("again")
    for name, of in (("hand.json", "tree.json"), ("fast.toml", "fast.toml")):
        shutil.copy(FAULTS / name, folder / of)
    (folder / "overrides.csv").write_text("union,kind,who,when,why\nU02,refused,A. Person,2026-05-01,included bark seen\n")
    words = ["--species", "oak", "--climber-mass", "92", "--system", "MRS", "--seed", "7", "--client", "The owner", "--overrides"]
    call = ["plan", str(folder / "tree.json"), "-o", str(folder / "out"), "--settings", str(folder / "fast.toml"), *words, str(folder / "overrides.csv")]
    assert run([*call, "--quiet"]) == 0
    return folder


def sums(folder: Path) -> dict[str, str]:
    """Every file but the record by content."""
    held = [p for p in sorted(folder.rglob("*")) if p.is_file() and p.name != "run.json"]
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in held}


def test_the_record_names_every_file_with_role_and_checksum(planned: Path) -> None:
    """Inputs by role, what was asked, and every file that was written."""
    told = json.loads((planned / "out" / "run.json").read_text())
    assert {row["role"]: Path(row["file"]).name for row in told["inputs"]} == {
        "tree": "tree.json",
        "overrides": "overrides.csv",
        "settings": "fast.toml",
    }
    for row in told["inputs"]:
        assert row["sha256"] == hashlib.sha256(Path(row["file"]).read_bytes()).hexdigest()
    assert told["files"] == sums(planned / "out")
    methods = (planned / "out" / "tables" / "methods.md").read_text()
    assert "A. Person" in methods and "included bark seen" in methods and "- loads.climber_mass = 92.0" in methods
    assert "kane_2007: " in methods and "(from memory, not confirmed)" in methods


def test_tables_have_keys_places_and_bounds(planned: Path) -> None:
    """A row of coverage is one candidate and one work point with its place; parts of the crown have bounds in metres and hold all the work."""
    held = planned / "out" / "tables"
    coverage, strata = (pandas.read_parquet(held / f"{name}.parquet") for name in ("coverage", "strata"))
    assert not coverage.duplicated(["candidate", "point"]).any() and len(coverage) > 40
    assert np.isfinite(coverage[["x", "y", "z"]]).all(axis=None)
    places = coverage.groupby("point")[["x", "y", "z"]].nunique()
    assert (places == 1).all(axis=None)
    work = coverage.drop_duplicates("point")
    assert not strata.duplicated(["height_class", "distance_class"]).any()
    for _, part in strata.iterrows():
        high = work["height"].between(part["height_from"] - 1e-5, part["height_to"] + 1e-5)
        near = work["radius"].between(part["distance_from"] - 1e-5, part["distance_to"] + 1e-5)
        assert part["points"] <= (high & near).sum() and 0 <= part["by_rope"] <= part["any_way"] + 1e-9
    assert strata["points"].sum() == len(work)
    assert strata["weight"].sum() == pytest.approx(work["weight"].sum(), rel=1e-4)
    for column in ("height", "distance"):
        bounds = strata.groupby(f"{column}_class")[[f"{column}_from", f"{column}_to"]].first()
        assert (bounds[f"{column}_to"] > bounds[f"{column}_from"]).all()


def test_again_gives_the_same_bytes_and_says_so(planned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All files but the record itself."""
    assert run(["plan", "--again", str(planned / "out" / "run.json"), "-o", str(tmp_path / "b")]) == 0
    assert sums(tmp_path / "b") == sums(planned / "out")
    assert "same bytes" in capsys.readouterr().out


def test_what_changed_since_is_named(planned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Another input, another version, an option beside, no record at all: one sentence each, nothing written."""
    held = json.loads((planned / "out" / "run.json").read_text())
    other = tmp_path / "run.json"

    def fails(words: str, *more: str) -> None:
        assert run(["plan", "--again", str(other), "-o", str(tmp_path / "b"), *more]) == 2
        assert words in capsys.readouterr().err and not (tmp_path / "b").exists()

    other.write_text(json.dumps(held | {"treescan": "0.0.1"}))
    fails("was made by treescan 0.0.1")
    other.write_text(json.dumps(held | {"inputs": [row | {"sha256": "0"} for row in held["inputs"]]}))
    fails("has changed since")
    other.write_text(json.dumps(held | {"inputs": [row | {"file": "gone.csv"} for row in held["inputs"]]}))
    fails("is not there any more")
    other.write_text(json.dumps(held | {"asked": {"reach": 3.0}}))
    fails("record of a tree of a batch")
    other.write_text("[]")
    fails("is not the record of a plan")
    other.write_text(json.dumps(held))
    fails("--again states --species itself", "--species", "oak")
