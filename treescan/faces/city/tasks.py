"""What a worker does: index a tile, look through a part, plan a tree. Each writes its result whole, and does nothing
where it stands already."""

from __future__ import annotations

import json
import pickle
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numba import set_num_threads

import treescan
from treescan.assess import Settings, plan, trace
from treescan.atomic import whole_folder
from treescan.cautions import all_cautions
from treescan.cloud.read import read_cloud
from treescan.cloud.tiles.tile_index import index_tile
from treescan.cloud.tiles.tile_map import TileMap
from treescan.cloud.tiles.tile_window import points_within
from treescan.faces.city.guarded import FULL, Desk, attempt, write_whole
from treescan.faces.guard.output_place import digests
from treescan.faces.user_files.job_fields import with_job
from treescan.outputs.city.tree_record import tree_record
from treescan.outputs.strict_json import tame
from treescan.outputs.write import write_outputs
from treescan.settings import lines
from treescan.trees.census.cells import Cell
from treescan.trees.census.look_through import FoundTree, look_through
from treescan.wood.files.read_tree import read_tree
from treescan.wood.files.write_tree import write_tree
from treescan.wood.graph import TracedTree

RECORD = "city.json"


@dataclass(frozen=True)
class TreeJob:
    """One tree to plan: its name; its place on the map and how far to read round it [m], or a file of its own; what its
    record says."""

    name: str
    at: tuple[float, float] | None = None
    reach: float = 0.0
    file: str = ""
    species: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Shared:
    """What every task of a run needs, kept in one file that all workers see."""

    root: str
    desk: Desk
    settings: Settings
    species: str | None
    unit: str | None
    seed: int
    sums: Mapping[str, str]
    tiles: TileMap | None = None
    cells: Mapping[str, Cell] = field(default_factory=dict)
    jobs: Mapping[str, TreeJob] = field(default_factory=dict)

    def index_of(self, file: str) -> Path:
        """Where the index of a cloud is kept: by its content."""
        return Path(self.root) / "work" / "index" / self.sums[file][:16]

    def looked(self, cell: str) -> Path:
        """Where the trees of a part stand."""
        return Path(self.root) / "work" / "looked" / f"{cell}.json"

    def folder(self, tree: str) -> Path:
        """Where a tree's plan stands."""
        return Path(self.root) / "trees" / tree


@lru_cache(maxsize=4)
def shared_by_all(path: str) -> Shared:
    """Read once a process."""
    with open(path, "rb") as f:
        found: Shared = pickle.load(f)
    return found


def do_task(path: str, kind: str, name: str) -> tuple[str, bool | None]:
    """One task by its kind ("index", "look", "tree") and name; its name, and whether its result stands, None where the
    disk is full (an error does not come through the network as what it was)."""
    shared = shared_by_all(path)
    set_num_threads(1)
    tasks = {"index": _index, "look": _look, "tree": _tree}
    try:
        return name, tasks[kind](shared, name)
    except OSError as err:
        if err.errno in FULL:
            return name, None
        raise


def _index(shared: Shared, file: str) -> bool:
    folder = shared.index_of(file)
    return attempt(
        shared.desk, f"index_{folder.name}", lambda: _ignore(index_tile(Path(file), folder, shared.unit))
    )


def _ignore(made: object) -> None:
    del made


def _look(shared: Shared, name: str) -> bool:
    file = shared.looked(name)
    return file.is_file() or attempt(shared.desk, f"look_{name}", lambda: _look_at(shared, name, file))


def _look_at(shared: Shared, name: str, file: Path) -> None:
    cell = shared.cells[name]
    assert shared.tiles is not None
    cloud = points_within(shared.tiles, cell.low, cell.high, name, shared.settings.cloud)
    seen = look_through(cloud, cell, shared.settings.trees)
    write_whole(file, {"trees": [tame(asdict(t)) for t in seen.trees], "wires": tame(seen.wires)})


def looked_in(file: Path) -> tuple[tuple[FoundTree, ...], list[Any]]:
    """Trees and wires of a part, from its file."""
    held = json.loads(file.read_text(encoding="utf-8"))
    trees = []
    for row in held["trees"]:
        known: dict[str, Any] = {k: float("nan") if v is None else v for k, v in row.items()}
        trees.append(FoundTree(**{**known, "foot": tuple(row["foot"])}))
    return tuple(trees), held["wires"]


def _tree(shared: Shared, name: str) -> bool:
    folder = shared.folder(name)
    if (folder / RECORD).is_file():
        return True
    return attempt(shared.desk, f"tree_{name}", lambda: _plan(shared, shared.jobs[name], folder))


def _plan(shared: Shared, job: TreeJob, folder: Path) -> None:
    """Trace and plan one tree; its folder appears whole."""
    fields = {k: v for k, v in job.fields.items() if v}
    settings = with_job(shared.settings, {"tree": job.name, **fields}, None)
    tree = _traced(shared, job, settings)
    done = plan(tree, species=job.species or shared.species, settings=settings, seed=shared.seed)
    with whole_folder(folder, lambda: None) as part:
        write_tree(tree, part / "tree.json")
        write_outputs(done, part)
        write_whole(part / RECORD, tame({"cautions": list(all_cautions()), **tree_record(done)}))
        record = {
            "format": "treescan-run",
            "version": 1,
            "cautions": list(all_cautions()),
            "treescan": treescan.__version__,
            "inputs": [{"file": f, "sha256": shared.sums[f]} for f in _read_from(shared, job)],
            "files": digests(part),
            "asked": {
                "at": None if job.at is None else list(job.at),
                "reach": job.reach,
                "species": job.species or shared.species,
                "seed": shared.seed,
            },
            "settings": {s.name: s.value for s in lines(settings)},
        }
        write_whole(part / "run.json", tame(record))


def _traced(shared: Shared, job: TreeJob, settings: Settings) -> TracedTree:
    if job.file.lower().endswith(".json"):
        return read_tree(job.file)
    if job.file:
        return trace(read_cloud(job.file, unit=shared.unit, settings=settings.cloud), settings=settings)
    assert shared.tiles is not None and job.at is not None
    at = np.array(job.at)
    cloud = points_within(shared.tiles, at - job.reach, at + job.reach, job.name, settings.cloud)
    return trace(cloud, at=at - cloud.frame.origin[:2], settings=settings)


def _read_from(shared: Shared, job: TreeJob) -> list[str]:
    """Files the tree was read from."""
    if job.file:
        return [job.file]
    assert shared.tiles is not None and job.at is not None
    at = np.array(job.at)
    return [p.tile.file for p in shared.tiles.touching(at - job.reach, at + job.reach)]
