"""One command from its options to its files: reads, calls `trace` and `plan`, writes, and says what came of
it."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numba import config, set_num_threads
from numpy.typing import NDArray

from treescan.assess import Settings, plan, trace
from treescan.atomic import only_run, whole_folder
from treescan.cloud.point_cloud import Frame
from treescan.cloud.read import read_cloud
from treescan.cloud.registration.join import join_scans
from treescan.errors import BadInput
from treescan.faces.cli.request import PlanRequest, TreeRequest
from treescan.faces.cli.run_record import write_run_record
from treescan.faces.cli.species_question import may_ask, with_species_asked
from treescan.faces.guard.input_files import check_inputs
from treescan.faces.guard.output_place import check_file, check_folder, check_same_tree, foreign_to_plan, is_marked
from treescan.faces.session.inputs import arguments
from treescan.faces.session.session_file import digest_of, read_session
from treescan.faces.told.progress_bar import Reporter, reporter
from treescan.faces.told.summary import PLANNING_AID, plan_lines, tree_lines
from treescan.faces.user_files.asked_work import read_work
from treescan.faces.user_files.drawn import read_site
from treescan.faces.user_files.faults import raise_together
from treescan.faces.user_files.geojson import check_features
from treescan.faces.user_files.job_fields import with_job
from treescan.faces.user_files.settings_file import read_settings
from treescan.faces.user_files.stated import CUT_COLUMNS, OVERRIDE_COLUMNS, read_cuts, read_overrides
from treescan.faces.user_files.table_rows import read_rows
from treescan.faces.user_files.wires_said import volts_said
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.outputs.text.say import say
from treescan.outputs.write import FILES, write_outputs
from treescan.planning.ranking.overrides import Override
from treescan.planning.tie_in_point import Work
from treescan.planning.work.removal import Removal
from treescan.reader_settings import JobSettings
from treescan.reason import Reason
from treescan.settings import lines
from treescan.sources import cite
from treescan.trees.beside import Site
from treescan.wood.files.beside_files import NAMES, is_ours, names_beside, standby_names
from treescan.wood.files.read_tree import read_tree
from treescan.wood.files.write_tree import write_tree
from treescan.wood.graph import TracedTree

MOST_WORDS, MOST_SCOPE = 200, 600
"""Letters of a name that is printed, and of the work in words (project choice)."""
MOST = 1e12
"""No coordinate is larger, in any unit."""


def trace_job(
    request: TreeRequest, output: Path, quiet: bool, as_json: bool
) -> tuple[list[Path], list[Reason]]:
    """Trace one tree into a tree.json; return the files and a summary."""
    check_inputs(request.files())
    _check_tree_place(output, request.files())
    settings = read_settings(request.settings)
    with only_run(output), reporter(quiet, as_json) as report:
        traced = _traced(request, settings, report)
        _check_tree_place(output, request.files())
        files = list(write_tree(traced, output))
    return files, [*tree_lines(traced), Reason("wrote_tree", path=str(output))]


def plan_job(request: PlanRequest, quiet: bool, as_json: bool) -> tuple[list[Path], list[Reason]]:
    """Plan one tree into a folder; return the files and a summary."""
    folder = request.output
    check_inputs((request.tree.cloud, *request.tree.files(), *request.files(), *request.work))
    _check_plan_place(request)
    settings = with_job(
        read_settings(request.tree.settings, request.climber_mass), request.job.given(), request.record
    )
    _check_systems(request.systems)
    _check_words(request.species, settings.job)
    _check_session(request)
    volts = None if request.wires is None else volts_said(request.wires)
    _use_cores(request.jobs)
    _check_readable(request)
    with only_run(folder), reporter(quiet, as_json) as report:
        tree = _traced(request.tree, settings, report)
        if request.session is not None:
            how: list[Reason] = []
            done = plan(tree, **_of_session(request.session, request, tree), progress=report)
        else:
            given = _given(request, tree, settings)
            how = given.notes
            done = plan(
                tree,
                species=request.species,
                systems=request.systems,
                work=given.work,
                site=given.site if volts is None else replace(given.site or Site(), wires=volts),
                settings=settings,
                seed=request.seed,
                progress=report,
                removal=given.removal,
                overrides=given.overrides,
            )
            if may_ask(quiet, as_json):
                done = with_species_asked(done, report)
                request = replace(request, species=done.asked.species)
        report.close()
        with whole_folder(folder, lambda: _check_plan_place(request)) as part:
            files = list(write_tree(tree, part / "tree.json"))
            files += write_outputs(done, part, report)
            report.close()
            warnings = [*done.warnings, *how]
            files.append(write_run_record(part / "run.json", request, done, report.timings, warnings))
            names = [f.relative_to(part) for f in files]
    files = [folder / name for name in names]
    report_line = Reason("wrote_report", path=str(folder / "report.html"))
    return files, [*tree_lines(tree), *how, *plan_lines(done), report_line, PLANNING_AID]


def _check_session(request: PlanRequest) -> None:
    """BadInput where a session comes with what it states itself, or with a cloud."""
    if request.session is None:
        return
    if not request.tree.cloud.lower().endswith(".json"):
        raise BadInput("--session needs the tree.json it was made with", remedy="give that instead of the cloud")
    beside = {
        "--species": request.species,
        "--climber-mass": request.climber_mass,
        "--work": request.work,
        "--site": request.site,
        "--cuts": request.cuts,
        "--overrides": request.overrides,
        "--wires": request.wires,
        "--settings": request.tree.settings,
        "--system": () if set(request.systems) == set(SYSTEMS) else request.systems,
        "--seed": None if request.seed == 1 else request.seed,
    }
    if named := [name for name, value in beside.items() if value]:
        raise BadInput(f"--session states {', '.join(named)} itself", remedy="leave one of them out")


def _of_session(path: Path, request: PlanRequest, tree: TracedTree) -> dict[str, Any]:
    """What `plan` is asked for by the changes that stand in a session."""
    history = read_session(path, digest_of(Path(request.tree.cloud)))
    asked = arguments(tree, history.inputs)
    asked["settings"] = with_job(asked["settings"], request.job.given(), request.record)
    return asked


def _check_tree_place(output: Path, inputs: Sequence[Path]) -> None:
    """BadInput where tree.json or a file beside it may not be written."""
    if (output.parent / "run.json").exists() and (output.parent / "anchors.json").exists():
        raise BadInput(
            "stands in the folder of a plan", file=str(output), remedy="give another folder to -o"
        )
    check_file(output, inputs, lambda p: is_marked(p, '"treescan-tree"', '"cautions"'))
    for name in (*names_beside(output).values(), *standby_names(output).values()):
        check_file(output.parent / name, inputs, is_ours)


def _check_plan_place(request: PlanRequest) -> None:
    """BadInput where the folder of the plan may not be written."""
    inputs = (*request.tree.files(), *request.files())
    known = {*FILES, "tree.json", *NAMES.values(), "run.json"}
    check_folder(request.output, inputs, lambda folder: foreign_to_plan(folder, known))
    check_same_tree(request.output, Path(request.tree.cloud), request.replace)


def _check_words(species: str | None, job: JobSettings) -> None:
    """BadInput for words longer than a sheet of paper has room for."""
    told = {"--species": species or "", **{f"job.{name}": v for name, v in asdict(job).items() if isinstance(v, str)}}
    for name, words in told.items():
        most = MOST_SCOPE if name == "job.scope" else MOST_WORDS
        if len(words) > most:
            raise BadInput(f"{name} is {len(words)} letters long", remedy=f"give at most {most}: it is printed on the job sheet")


def _use_cores(jobs: int | None) -> None:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if jobs is not None and jobs > cores:
        raise BadInput(f"--jobs {jobs} is more than the {cores} cores there are", remedy=f"give 1 to {cores}")
    if jobs:
        set_num_threads(min(jobs, config.NUMBA_NUM_THREADS))  # type: ignore[attr-defined]


def settings_table(path: Path | None, climber_mass: float | None) -> str:
    """Every setting as TOML that could be given back with --settings, with unit, meaning and source as
    comments."""
    groups: dict[str, list[str]] = {}
    for s in lines(read_settings(path, climber_mass)):
        head, _, name = s.name.rpartition(".")
        unit = f" [{s.unit}]" if s.unit else ""
        groups.setdefault(head, []).append(
            f"{name} = {_toml(s.value)}  #{unit} {s.meaning}. Source: {cite(s.source)}"
        )
    return "\n\n".join("\n".join([f"[{head}]", *rows]) for head, rows in groups.items())


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return repr(value)


def _traced(request: TreeRequest, settings: Settings, report: Reporter) -> TracedTree:
    """The tree of a cloud, or of a tree.json."""
    if request.cloud.lower().endswith(".json"):
        if request.at is not None:
            raise BadInput(
                "--at chooses a tree in a cloud, but a tree.json holds one tree",
                file=request.cloud,
                remedy="leave --at out",
            )
        if request.unit is not None:
            raise BadInput(
                "--unit is for clouds; a tree.json is in metres",
                file=request.cloud,
                remedy="leave --unit out",
            )
        if request.also:
            raise BadInput(
                "--also joins scans, but a tree.json is no scan", file=request.cloud, remedy="name the clouds"
            )
        tree = read_tree(request.cloud)
        _check_findings(tree, request.cloud)
        return tree
    near = None if request.at is None or request.also else _two_numbers(request.at)
    scans = [
        read_cloud(
            name,
            unit=request.unit,
            round_place=near,
            most=settings.trees.max_points,
            settings=settings.cloud,
            progress=report,
        )
        for name in (request.cloud, *request.also)
    ]
    scan = join_scans(scans, settings.join, report)
    return trace(
        scan,
        at=None if request.at is None else _place(request.at, scan.frame),
        settings=settings,
        progress=report,
        in_place=True,
    )


def _check_findings(tree: TracedTree, file: str) -> None:
    """BadInput where the file states a finding that cannot be said in words."""
    rescans = [limb.get("rescan") for limb in tree.fitness.limbs]
    for found in (*tree.fitness.reasons, *tree.notes, *(r for r in rescans if r is not None)):
        try:
            say(found)
        except (KeyError, TypeError, ValueError, AttributeError, IndexError, RecursionError) as err:
            raise BadInput(
                f"states a finding that is not known or lacks a value ({found.code[:40]})",
                file=file,
                remedy="trace the scan again",
            ) from err


def _place(text: str, frame: Frame) -> NDArray[np.float64]:
    """--at X,Y in the cloud's own coordinates, as local metres."""
    return frame.own_to_local_xy(np.array(_two_numbers(text)))


def _two_numbers(text: str) -> tuple[float, float]:
    """--at X,Y as two numbers; BadInput where it is none."""
    try:
        x, y = (float(v) for v in text.split(","))
        if not abs(x) + abs(y) < MOST:
            raise ValueError
    except ValueError as err:
        raise BadInput(f"--at {text!r} is not X,Y", remedy="for example --at 512345.6,5412345.6") from err
    return x, y


def _check_systems(systems: tuple[str, ...]) -> None:
    for name in systems:
        if name not in SYSTEMS:
            raise BadInput(f"--system {name!r} is not known", remedy=f"choose from: {', '.join(SYSTEMS)}")


@dataclass(frozen=True)
class _Given:
    """What the user's files hold beside the cloud, and how they were read."""

    site: Site | None
    work: Work | None
    removal: Removal | None
    overrides: tuple[Override, ...]
    notes: list[Reason]


def _check_readable(request: PlanRequest) -> None:
    """BadInput, all faults in one go, for files whose faults show without the tree: before the cloud is read."""
    faults: list[BadInput] = []
    if request.site is not None:
        _tried(faults, partial(check_features, request.site), None)
    if request.cuts is not None:
        _tried(faults, partial(read_rows, request.cuts, CUT_COLUMNS, "cut"), None)
    if request.session is not None:
        _tried(faults, partial(read_session, request.session), None)
    if request.overrides is not None:
        _tried(faults, partial(read_rows, request.overrides, OVERRIDE_COLUMNS, "override"), None)
    raise_together(faults)


def _given(request: PlanRequest, tree: TracedTree, settings: Settings) -> _Given:
    """Site, work, cuts and statements, and how their coordinates were read; BadInput tells the faults of all
    of them in one go."""
    faults: list[BadInput] = []
    notes: list[Reason] = []
    site, work, removal = None, None, None
    if request.site is not None:
        path = request.site
        site, how = _tried(faults, lambda: read_site(path, tree.frame, tree.beside.terrain), (None, ()))
        notes += how
    if request.work:
        work, said = _tried(
            faults, lambda: read_work(request.work, tree, settings.planning, request.seed), (None, [])
        )
        notes += said
    if request.cuts is not None:
        drawn = () if site is None else tuple(name for name, _ in site.anchors)
        others = None if request.site is not None and site is None else drawn
        cuts = request.cuts
        removal = _tried(faults, lambda: read_cuts(cuts, tree.graph, others), None)
    overrides: tuple[Override, ...] = ()
    if request.overrides is not None:
        stated = request.overrides
        overrides = _tried(faults, lambda: read_overrides(stated, tree.graph), ())
    raise_together(faults)
    return _Given(site, work, removal, overrides, notes)


def _tried(faults: list[BadInput], read: Callable[[], Any], otherwise: Any) -> Any:
    """What a reader gives; its fault is kept for later."""
    try:
        return read()
    except BadInput as fault:
        faults.append(fault)
        return otherwise
