"""One inventory and many result folders: read, join, write, say."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from treescan.atomic import only_run, whole_folder
from treescan.errors import BadInput
from treescan.faces.guard.input_files import check_inputs
from treescan.faces.guard.output_place import check_folder, foreign_to_join
from treescan.faces.told.summary import PLANNING_AID
from treescan.outputs.gis.inventory import joined, read_field_names, read_inventory, read_results
from treescan.outputs.gis.inventory_files import WRITTEN, summary, write_inventory
from treescan.reason import Reason


def inventory_job(
    inventory: Path, folders: Sequence[Path], output: Path, mapping: Path | None, tolerance: float
) -> tuple[list[Path], list[Reason]]:
    """Join an inventory with result folders; return the files and a summary."""
    inputs = [p for p in (inventory, mapping, *folders) if p is not None]

    check_inputs(inputs)

    def check() -> None:
        check_folder(output, inputs, lambda folder: foreign_to_join(folder, WRITTEN))

    if not np.isfinite(tolerance):
        raise BadInput("--tolerance is not a distance", remedy="give metres, for example 3")
    check()
    with only_run(output):
        found = joined(read_inventory(inventory, read_field_names(mapping)), read_results(folders), tolerance)
        with whole_folder(output, check) as part:
            names = [f.relative_to(part) for f in write_inventory(found, part)]
    files = [output / name for name in names]
    wrote = Reason("wrote_inventory", path=str(output / "inventory.gpkg"))
    return files, [*summary(found), wrote, PLANNING_AID]
