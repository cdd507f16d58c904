"""The joined inventory as files: inventory.gpkg, inventory.csv and what was left over, each with the caution."""

from __future__ import annotations

import io
import tempfile
import warnings
from pathlib import Path

import geopandas
import pandas
import pyogrio

from treescan.atomic import write_bytes
from treescan.cautions import CAUTIONS
from treescan.outputs.gis.inventory import Joined
from treescan.outputs.gis.map_files import FIXED_DATE
from treescan.outputs.gis.map_styles import styles_table


def write_inventory(found: Joined, folder: Path) -> tuple[Path, ...]:
    """Write the joined inventory; trees without a record stand in left_over.csv, which is taken away when there are none."""
    merged = found.merged.assign(caution=CAUTIONS["planning_aid"])
    out = [
        write_bytes(folder / "inventory.csv", _table(pandas.DataFrame(merged.drop(columns="geometry")))),
        write_bytes(folder / "inventory.gpkg", _package(merged)),
    ]
    if len(found.left_over):
        out.append(write_bytes(folder / "left_over.csv", _table(found.left_over.assign(caution=CAUTIONS["planning_aid"]))))
    else:
        (folder / "left_over.csv").unlink(missing_ok=True)
    return tuple(out)


def summary(found: Joined) -> tuple[str, ...]:
    """How the match went, one sentence each."""
    how = found.merged["match"].value_counts()
    open_records = int(how.get("", 0))
    doubts = [f"{i}: {d}" for i, d in zip(found.merged["inv_id"], found.merged["doubt"], strict=True) if d]
    return (
        *found.notes,
        f"{int(how.get('by id', 0))} records joined by identifier, {int(how.get('by place', 0))} by place; "
        f"{open_records} records without an assessed tree, {len(found.left_over)} assessed trees without a record.",
        *(f"Doubt: {d}." for d in doubts),
    )


def _table(frame: pandas.DataFrame) -> bytes:
    out = io.StringIO()
    frame.to_csv(out, index=False, lineterminator="\n")
    return out.getvalue().encode()


def _package(merged: geopandas.GeoDataFrame) -> bytes:
    """The records as a layer, with the default style and every caution; records without a place have an empty geometry."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            path = Path(folder) / "inventory.gpkg"
            frame = merged.drop(columns=[c for c in merged.columns if str(c).lower() == "fid"])
            pyogrio.write_dataframe(
                frame, path, layer="inventory", driver="GPKG", layer_options={"DESCRIPTION": "inventory joined with assessed trees"},
                dataset_options={"VERSION": "1.2"},
            )  # fmt: skip
            cautions = pandas.DataFrame({"key": list(CAUTIONS), "caution": list(CAUTIONS.values())})
            pyogrio.write_dataframe(cautions, path, layer="cautions", driver="GPKG")
            pyogrio.write_dataframe(styles_table(["inventory"]), path, layer="layer_styles", driver="GPKG", layer_options={"FID": "id"})
            return path.read_bytes()
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
