"""run.json: what was run, on what, with which settings, how long it took and what it needed."""

from __future__ import annotations

import json
import platform
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import treescan
from treescan.assess import Assessment
from treescan.atomic import write_text
from treescan.cautions import all_cautions
from treescan.faces.cli.request import PlanRequest
from treescan.faces.guard.output_place import digest, digests
from treescan.outputs.data.reason_data import all_with_data, with_data
from treescan.reason import Reason
from treescan.settings import lines
from treescan.wood.files.beside_files import names_beside

LIBRARIES = (
    "numpy",
    "scipy",
    "numba",
    "networkx",
    "laspy",
    "lazrs",
    "pye57",
    "pyproj",
    "open3d-cpu",
    "open3d",
    "trimesh",
)


def write_run_record(
    path: Path,
    request: PlanRequest,
    done: Assessment,
    timings: Mapping[str, float],
    warnings: Sequence[Reason | str],
) -> Path:
    """Write run.json, last of all: it names every file of the folder; times in seconds, memory in MB."""
    record: dict[str, Any] = {
        "format": "treescan-run",
        "version": 1,
        "cautions": list(all_cautions()),
        "treescan": treescan.__version__,
        "inputs": [
            {"file": str(p), "role": role, "sha256": digest(p), "bytes": p.stat().st_size}
            for role, p in roles(request)
        ],
        "files": digests(path.parent),
        "asked": {
            "at": request.tree.at,
            "unit": request.tree.unit,
            "species": request.species,
            "climber_mass": request.climber_mass,
            "systems": list(request.systems),
            "work": list(request.work),
            "wires": request.wires,
            "seed": request.seed,
            "job": asdict(request.job),
        },
        **with_data("species", done.species),
        **all_with_data("statements", done.statements),
        "settings": {s.name: s.value for s in lines(done.settings)},
        "versions": {
            "python": platform.python_version(),
            **{name: v for name in LIBRARIES if (v := _version(name))},
        },
        "timings_s": {stage: round(seconds, 3) for stage, seconds in timings.items()},
        "peak_memory_mb": _peak_memory_mb(),
        **all_with_data("warnings", warnings),
    }
    return write_text(path, json.dumps(record, indent=1, allow_nan=False, default=list))


def roles(request: PlanRequest) -> list[tuple[str, Path]]:
    """Every file that was read, with what it was read as; those beside a tree.json too."""
    cloud = Path(request.tree.cloud)
    is_tree = cloud.suffix.lower() == ".json"
    beside = [cloud.parent / name for name in names_beside(cloud).values()] if is_tree else []
    named = (
        ("tree" if is_tree else "cloud", cloud),
        *(("beside the tree", p) for p in beside if p.is_file()),
        *(("also", Path(p)) for p in request.tree.also),
        *(("work", Path(p)) for p in request.work if Path(p).is_file()),
        ("site", request.site),
        ("cuts", request.cuts),
        ("overrides", request.overrides),
        ("job record", request.record),
        ("session", request.session),
        ("settings", request.tree.settings),
    )
    return [(role, p) for role, p in named if p is not None]


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None


def _peak_memory_mb() -> float | None:
    """Peak resident memory of this process; None where the system does not say (Windows)."""
    if sys.platform == "win32":
        return None
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(peak / (1024 * 1024 if sys.platform == "darwin" else 1024), 1)
