"""What every tree came to, gathered from its folder into the files of the city."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from pyproj import CRS
from pyproj.exceptions import ProjError

from treescan.atomic import write_bytes, write_text
from treescan.cautions import all_cautions
from treescan.cloud.projection import plan_crs
from treescan.cloud.tiles.tile_map import TileMap
from treescan.faces.city.guarded import Desk, failure
from treescan.faces.city.tasks import RECORD
from treescan.outputs.city.city_files import CityMap, package_bytes, parquet_bytes, rows_bytes, table_bytes
from treescan.outputs.city.city_page import page_html
from treescan.outputs.city.city_rows import FAILED, PLANNED, CityTree, city_layers, tree_rows
from treescan.outputs.city.work_packages import package_rows, packages, sheet_bytes
from treescan.outputs.text.say import say
from treescan.reason import Reason


def gathered(trees: Sequence[CityTree], root: Path, desk: Desk) -> tuple[CityTree, ...]:
    """Every tree with its plan, or why it has none."""
    out = []
    for t in trees:
        file = root / "trees" / t.name / RECORD
        why = failure(desk, f"tree_{t.name}")
        if file.is_file():
            plan = json.loads(file.read_text(encoding="utf-8"))
            out.append(replace(t, state=PLANNED, plan=plan, place=t.place or _place(plan)))
        elif why is not None:
            out.append(replace(t, state=FAILED, said=(why,)))
        else:
            out.append(t)
    return tuple(out)


def _place(plan: dict[str, Any]) -> tuple[float, float, float] | None:
    """Where a tree with a file of its own stands."""
    x, y, z = plan["figures"]["base"]
    return float(x), float(y), float(z)


def files_of(
    trees: Sequence[CityTree],
    root: Path,
    tiles: TileMap,
    wires: Sequence[Any],
    poisoned: Sequence[tuple[str, Reason | str]],
    about: dict[str, Any],
) -> list[Path]:
    """Write the files of the city; the page last, so that its presence means the rest is there."""
    on = city_map(tiles)
    layers = city_layers(trees, wires)
    rows = tree_rows(trees)
    made = packages(trees)
    out = [write_bytes(root / "city.gpkg", package_bytes(layers, on))]
    out += [write_bytes(root / f"{layer.name}.parquet", parquet_bytes(layer, on)) for layer in layers]
    out.append(write_bytes(root / "trees.csv", rows_bytes(layers[0], on)))
    out.append(write_bytes(root / "work_packages.csv", table_bytes(package_rows(made))))
    out.append(write_bytes(root / "work_packages.pdf", sheet_bytes(made)))
    notes = {p.tile.file: [say(n) for n in p.notes] for p in tiles.tiles}
    notes |= {file: [say(why)] for file, why in poisoned}
    run = {
        "format": "treescan-city",
        "version": 1,
        "cautions": list(all_cautions()),
        "inputs": about["inputs"],
        "asked": about["asked"],
        "treescan": about["treescan"],
        "crs": tiles.system,
        "inputs_said": notes,
        "trees": {t.name: t.state for t in trees},
    }
    out.append(write_text(root / "city.json", json.dumps(run, indent=1, sort_keys=True) + "\n"))
    out.append(write_bytes(root / "city.html", page_html(trees, rows, made, wires, tiles.system).encode()))
    return out


def city_map(tiles: TileMap) -> CityMap:
    """The system the files are written in: that of the clouds with its code, in feet where they are."""
    if tiles.system is None:
        return CityMap(None)
    try:
        own = None if tiles.own is None else plan_crs(CRS.from_user_input(tiles.own))
        if own is not None and own.is_projected and own.to_epsg() is not None:
            return CityMap(own, 1.0 / tiles.own_unit)
        return CityMap(CRS.from_user_input(tiles.system))
    except ProjError:
        return CityMap(None)
