"""From tiles to work packages: index, look through, join with the inventory, sort, plan, gather. Every stage leaves
whole files, so that a run that was stopped goes on."""

from __future__ import annotations

import pickle
import shutil
import uuid
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from treescan.atomic import PART, only_run, whole_file
from treescan.cloud.tiles.tile_index import read_tile
from treescan.cloud.tiles.tile_map import TileMap, one_map
from treescan.faces.city.asked import BatchRequest, Source, claim, sources
from treescan.faces.city.dask_run import Pace, Running, cluster, run_all
from treescan.faces.city.gather import files_of, gathered
from treescan.faces.city.guarded import Desk, failure, forget_chance_failures, give_up
from treescan.faces.city.journal import Journal
from treescan.faces.city.tasks import Shared, TreeJob, do_task, looked_in
from treescan.faces.city.which_trees import (
    check_inventory,
    found_trees,
    job_of,
    job_of_file,
    own_files,
    placed,
    records_of,
    why_not,
)
from treescan.faces.told.summary import PLANNING_AID
from treescan.faces.user_files.settings_file import read_settings
from treescan.outputs.city.city_rows import FAILED, NOT_PLANNED, PLANNED, CityTree
from treescan.outputs.gis.inventory import read_field_names
from treescan.outputs.text.say import say
from treescan.reason import Reason
from treescan.trees.census.cells import cells_of
from treescan.trees.census.seams import one_each

MOST_IN_A_PART = 6_000_000
"""Points of a part that is looked through at once (project choice: under 2 GB in a worker). """


def batch_job(request: BatchRequest, quiet: bool, as_json: bool) -> tuple[list[Path], list[Reason]]:
    """Run, or go on with, a batch; return the files and a summary."""
    held = sources(request.inputs)
    settings = read_settings(request.settings)
    records = records_of(request.inventory, read_field_names(request.fields))
    root = request.output
    with only_run(root):
        about = claim(request, held)
        _tidy(root)
        desk = Desk(str((root / "work").resolve()), uuid.uuid4().hex, request.time_limit * 60)
        forget_chance_failures(desk)
        shared = Shared(
            str(root.resolve()),
            desk,
            settings,
            request.species,
            request.unit,
            request.seed,
            {s.file: s.sha256 for s in held},
        )
        with Journal(root / "journal.jsonl", quiet, as_json) as journal:
            with cluster(request.workers, request.memory, request.scheduler) as running:
                journal.begun(running.page, running.workers, running.memory)
                work = _Work(root, shared, running, journal)
                trees, tiles, wires, poisoned = _planned(request, work, held, records)
            found = gathered(trees, root, desk)
            files = files_of(found, root, tiles, wires, poisoned, about)
            journal.ended(found)
    return files, [
        *_summary(found, poisoned),
        Reason("wrote_city", path=str(root / "city.html")),
        PLANNING_AID,
    ]


class _Work:
    """Sends the tasks of one kind at a time, with what they share in a file that all workers see."""

    def __init__(self, root: Path, shared: Shared, running: Running, journal: Journal) -> None:
        self.root, self.shared, self.running, self.journal = root, shared, running, journal

    def do(self, kind: str, names: Sequence[str], stands: Callable[[str], bool]) -> None:
        """Do all tasks of a kind that do not stand already and did not fail before."""
        path = self.root / "work" / f"shared_{kind}.pickle"
        with whole_file(path) as part, part.open("wb") as f:
            pickle.dump(self.shared, f)
        open_ = [n for n in names if not stands(n) and failure(self.shared.desk, self.task(kind, n)) is None]
        pace = Pace(len(names), len(names) - len(open_))

        def done(name: str, well: bool) -> None:
            pace.step(well)
            self.journal.task(kind, name, well, pace)

        def died(name: str) -> None:
            give_up(self.shared.desk, self.task(kind, name))
            done(name, False)

        run_all(self.running, do_task, [(str(path), kind, n) for n in open_], done, died)

    def task(self, kind: str, name: str) -> str:
        """What a task is called on disk."""
        return f"index_{self.shared.index_of(name).name}" if kind == "index" else f"{kind}_{name}"


def _planned(
    request: BatchRequest, work: _Work, held: Sequence[Source], records: Sequence[dict[str, Any]]
) -> tuple[tuple[CityTree, ...], TileMap, list[Any], list[tuple[str, Reason | str]]]:
    """All stages up to the plans: trees, the map, wires, and tiles that cannot be used."""
    desk = work.shared.desk
    own = [s.file for s in held if s.is_tree or request.each]
    clouds = [s.file for s in held if not s.is_tree and not request.each]
    poisoned: list[tuple[str, Reason | str]] = []
    tiles, wires = TileMap(None, None, 1.0, ()), []
    trees: tuple[CityTree, ...] = ()
    if clouds:
        work.do("index", clouds, lambda f: (work.shared.index_of(f) / "tile.json").is_file())
        good = [f for f in clouds if (work.shared.index_of(f) / "tile.json").is_file()]
        poisoned += [(f, failure(desk, work.task("index", f)) or "") for f in clouds if f not in good]
        tiles = one_map([read_tile(Path(f), work.shared.index_of(f)) for f in good])
        poisoned += list(tiles.left_out)
        cells = {c.name: c for c in cells_of(tiles.filled, MOST_IN_A_PART)}
        work.shared = replace(work.shared, tiles=tiles, cells=cells)
        work.do("look", list(cells), lambda n: work.shared.looked(n).is_file())
        parts = []
        for name, cell in cells.items():
            if work.shared.looked(name).is_file():
                seen, lines = looked_in(work.shared.looked(name))
                parts.append((cell, seen))
                wires += lines
            else:
                poisoned.append((name, failure(desk, f"look_{name}") or ""))
        places = placed(records, tiles.system, tiles.own, tiles.own_unit)
        trees = found_trees(one_each(parts), records, places, request.tolerance)
    trees = (*trees, *own_files(own, records if not clouds else ()))
    check_inventory(trees)
    jobs = _jobs(request, trees, own, work.shared, bool(records))
    work.shared = replace(work.shared, jobs={j.name: j for j in jobs})
    work.do("tree", [j.name for j in jobs], lambda n: (work.shared.folder(n) / "city.json").is_file())
    named = {j.name for j in jobs}
    trees = tuple(
        t if t.name in named else replace(t, said=why_not(t, bool(records), request.triage_only))
        for t in trees
    )
    return trees, tiles, sorted(wires), poisoned


def _jobs(
    request: BatchRequest, trees: Sequence[CityTree], own: Sequence[str], shared: Shared, records: bool
) -> list[TreeJob]:
    """What is to be planned."""
    if request.triage_only:
        return []
    made = [job for t in trees if (job := job_of(t, shared.settings, records)) is not None]
    by_file = [t for t in trees if t.found is None and t.state == NOT_PLANNED]
    return made + [job_of_file(t, f) for t, f in zip(by_file, own, strict=True)]


def _tidy(root: Path) -> None:
    """Take away what killed workers left half-written; nobody else writes here now."""
    for place in (
        root,
        root / "trees",
        root / "work",
        *(root / "work" / n for n in ("index", "looked", "failed", "started")),
    ):
        for left in place.glob(f"{PART}*") if place.is_dir() else ():
            shutil.rmtree(left, ignore_errors=True) if left.is_dir() else left.unlink(missing_ok=True)


def _summary(trees: Sequence[CityTree], poisoned: Sequence[tuple[str, Reason | str]]) -> list[Reason]:
    """What came of it, in a few sentences."""
    states = [t.state for t in trees]
    fits: dict[str, int] = {}
    for t in trees:
        if t.triage:
            fits[t.triage.fit] = fits.get(t.triage.fit, 0) + 1
    counts = Reason(
        "batch_done",
        trees=len(trees),
        planned=states.count(PLANNED),
        failed=states.count(FAILED),
        other=len(trees) - states.count(PLANNED) - states.count(FAILED),
    )
    sorted_ = [Reason("batch_fit", fit=fit, n=n) for fit, n in sorted(fits.items())]
    failed = [
        Reason("batch_failed", tree=t.name, why="; ".join(map(say, t.said)))
        for t in trees
        if t.state == FAILED
    ]
    bad = [Reason("batch_tile", file=f, why=say(why)) for f, why in poisoned]
    return [counts, *sorted_, *failed, *bad]
