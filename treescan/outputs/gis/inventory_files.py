"""The joined inventory as files: inventory.gpkg, inventory.csv and what was left over, each with the
caution."""

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
from treescan.outputs.text.say import text
from treescan.reason import Reason
from treescan.spreadsheet import guarded

WRITTEN = ("inventory.csv", "inventory.gpkg", "left_over.csv")
"""Files `join` may write."""


def write_inventory(found: Joined, folder: Path) -> tuple[Path, ...]:
    """Write the joined inventory; trees without a record stand in left_over.csv, which is taken away when
    there are none."""
    merged = found.merged.assign(caution=CAUTIONS["planning_aid"])
    out = [
        write_bytes(folder / "inventory.csv", _table(pandas.DataFrame(merged.drop(columns="geometry")))),
        write_bytes(folder / "inventory.gpkg", _package(merged)),
    ]
    if len(found.left_over):
        out.append(
            write_bytes(
                folder / "left_over.csv", _table(found.left_over.assign(caution=CAUTIONS["planning_aid"]))
            )
        )
    else:
        (folder / "left_over.csv").unlink(missing_ok=True)
    return tuple(out)


def summary(found: Joined) -> tuple[Reason, ...]:
    """How the match went."""
    how = found.merged["match"].value_counts()
    in_doubt = [Reason("inventory_doubt", record=record or None, doubts=doubts) for record, doubts in found.doubts]
    counts = Reason(
        "inventory_joined",
        by_id=how.get("by id", 0),
        by_place=how.get("by place", 0),
        open=how.get("", 0),
        left=len(found.left_over),
    )
    return (*found.notes, counts, *in_doubt)


def _table(frame: pandas.DataFrame) -> bytes:
    out = io.StringIO()
    texts = {c: frame[c].map(guarded) for c in frame.columns if frame[c].dtype.kind not in "fiub"}
    frame = frame.assign(**texts).rename(columns=guarded)
    frame.to_csv(out, index=False, lineterminator="\n")
    return out.getvalue().encode()


def _package(merged: geopandas.GeoDataFrame) -> bytes:
    """The records as a layer, with the default style and every caution; records without a place have an
    empty geometry."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            path = Path(folder) / "inventory.gpkg"
            frame = merged.drop(columns=[c for c in merged.columns if str(c).lower() == "fid"])
            pyogrio.write_dataframe(
                frame, path, layer="inventory", driver="GPKG", layer_options={"DESCRIPTION": text("layer_inventory")},
                dataset_options={"VERSION": "1.2"},
            )  # fmt: skip
            cautions = pandas.DataFrame({"key": list(CAUTIONS), "caution": list(CAUTIONS.values())})
            pyogrio.write_dataframe(cautions, path, layer="cautions", driver="GPKG")
            pyogrio.write_dataframe(
                styles_table(["inventory"]),
                path,
                layer="layer_styles",
                driver="GPKG",
                layer_options={"FID": "id"},
            )
            return path.read_bytes()
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
