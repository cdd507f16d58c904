"""A plan made again from its run.json: the same inputs, options and settings, and whether the same bytes came of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import treescan
from treescan.errors import BadInput
from treescan.faces.cli.jobs import plan_job
from treescan.faces.cli.request import JobFields, PlanRequest, TreeRequest
from treescan.faces.guard.output_place import digest, digests
from treescan.reason import Reason

RECORD = "run.json"
LISTED = 5
"""Files that differ are named up to so many."""


def again_job(
    record: Path, output: Path, jobs: int | None, replace: bool, quiet: bool, as_json: bool
) -> tuple[list[Path], list[Reason]]:
    """Plan what a run.json records; the last sentence but one tells whether all files came out the same.

    Raises BadInput where it is no record of `plan`, another version of treescan made it, or an input is gone or has
    changed.
    """
    held = _read(record)
    _check_inputs(record, held)
    request = request_of(held, output, jobs, replace)
    files, found = plan_job(request, quiet, as_json)
    now = {name: sha for name, sha in digests(output).items() if name != RECORD}
    differ = sorted(name for name in {*now, *held["files"]} if now.get(name) != held["files"].get(name))
    told = (
        Reason("again_differs", n=len(differ), files=", ".join(differ[:LISTED]))
        if differ
        else Reason("again_same", n=len(now))
    )
    return files, [*found[:-1], told, found[-1]]


def request_of(held: dict[str, Any], output: Path, jobs: int | None = None, replace: bool = False) -> PlanRequest:
    """What was asked for, as the options said it."""
    asked = held["asked"]

    def of(role: str) -> list[str]:
        return [row["file"] for row in held["inputs"] if row["role"] == role]

    def one(role: str) -> Path | None:
        return next(map(Path, of(role)), None)

    cloud = (of("cloud") or of("tree"))[0]
    return PlanRequest(
        TreeRequest(cloud, asked["at"], asked["unit"], one("settings"), tuple(of("also"))),
        output,
        asked["species"],
        asked["climber_mass"],
        tuple(asked["systems"]),
        tuple(asked["work"]),
        one("site"),
        asked["seed"],
        jobs,
        one("cuts"),
        one("overrides"),
        replace,
        JobFields(**asked["job"]),
        one("job record"),
        asked["wires"],
        one("session"),
    )


def _read(record: Path) -> dict[str, Any]:
    """The record of a plan; BadInput where it is none that says all that is needed."""
    remedy = "give the run.json in the folder of a plan"
    try:
        held = json.loads(record.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as err:
        raise BadInput("cannot be read as the record of a plan", file=str(record), remedy=remedy) from err
    known = isinstance(held, dict) and held.get("format") == "treescan-run"
    if known and "reach" in held.get("asked", {}):
        raise BadInput(
            "is the record of a tree of a batch", file=str(record), remedy="run treescan batch again with the same inputs"
        )
    if not (known and {"files", "asked", "inputs"} <= held.keys() and {"job", "climber_mass"} <= held["asked"].keys()):
        raise BadInput("is not the record of a plan, or of one too old", file=str(record), remedy=remedy)
    if held["treescan"] != treescan.__version__:
        raise BadInput(
            f"was made by treescan {held['treescan']}, this is {treescan.__version__}",
            file=str(record),
            remedy=f"install treescan {held['treescan']} for the same bytes, or plan anew",
        )
    return held


def _check_inputs(record: Path, held: dict[str, Any]) -> None:
    """BadInput for the first input that is gone or is not what it was."""
    for row in held["inputs"]:
        path = Path(row["file"])
        if not path.is_file():
            raise BadInput(
                f"is not there any more, and {record} needs it ({row['role']})",
                file=row["file"],
                remedy="put it back, or start where the first run started: names are as given there",
            )
        if digest(path) != row["sha256"]:
            raise BadInput(f"has changed since {record} was written ({row['role']})", file=row["file"], remedy="put the old file back, or plan anew")
