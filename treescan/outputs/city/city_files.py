"""city.gpkg, GeoParquet and CSV: the same rows with the same names and types in each, in the system of the clouds."""

from __future__ import annotations

import io
import tempfile
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas
import pyogrio
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from treescan.cautions import CAUTIONS
from treescan.outputs.city.city_rows import CityLayer
from treescan.outputs.gis.map_files import FIXED_DATE
from treescan.outputs.text.say import text
from treescan.spreadsheet import guarded

TYPES = {"text": "str", "number": "float64", "whole": "Int64", "yes or no": "boolean"}


@dataclass(frozen=True)
class CityMap:
    """The system city files are written in, and its units in a metre; heights stay in metres."""

    system: CRS | None
    scale: float = 1.0


def frame_of(layer: CityLayer, on: CityMap) -> geopandas.GeoDataFrame:
    """A layer as a table; empty cells stay empty, whole numbers whole."""
    columns = {
        name: pandas.array(["" if v is None else v for v in values], dtype="str")
        if layer.kinds[name] == "text"
        else pandas.array([np.nan if v is None else v for v in values], dtype="float64")
        if layer.kinds[name] == "number"
        else pandas.array(values, dtype=TYPES[layer.kinds[name]])
        for name, values in layer.columns.items()
    }
    shapes = [g if g is None or on.scale == 1.0 else _scaled(g, on.scale) for g in layer.shapes]
    return geopandas.GeoDataFrame(
        pandas.DataFrame(columns), geometry=geopandas.GeoSeries(shapes), crs=on.system
    )


def _scaled(shape: BaseGeometry, scale: float) -> BaseGeometry:
    return shapely.transform(
        shape, lambda xyz: np.round(xyz * ([scale, scale, 1.0][: xyz.shape[1]]), 4), include_z=shape.has_z
    )


def package_bytes(layers: Sequence[CityLayer], on: CityMap) -> bytes:
    """All layers and every caution as one GeoPackage, the same bytes for the same rows."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            path = Path(folder) / "city.gpkg"
            for layer in layers:
                kind = next((g.geom_type for g in layer.shapes if g is not None), "Point")
                pyogrio.write_dataframe(
                    frame_of(layer, on),
                    path,
                    layer=layer.name,
                    driver="GPKG",
                    geometry_type=kind + " Z",
                    layer_options={"DESCRIPTION": text(f"city_layer_{layer.name}")},
                    dataset_options=None if path.exists() else {"VERSION": "1.2"},
                )
            cautions = pandas.DataFrame({"key": list(CAUTIONS), "caution": list(CAUTIONS.values())})
            pyogrio.write_dataframe(cautions, path, layer="cautions", driver="GPKG")
            return path.read_bytes()
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def parquet_bytes(layer: CityLayer, on: CityMap) -> bytes:
    """One layer as GeoParquet."""
    out = io.BytesIO()
    frame_of(layer, on).to_parquet(out, index=False)
    return out.getvalue()


def rows_bytes(layer: CityLayer, on: CityMap) -> bytes:
    """One layer as CSV, with x and y in the system of the map files, whole numbers whole."""
    frame = frame_of(layer, on)
    places = {"x": frame.geometry.x.round(3), "y": frame.geometry.y.round(3)}
    return _csv(pandas.DataFrame(frame.drop(columns="geometry")).assign(**places))


def table_bytes(rows: Sequence[dict[str, Any]]) -> bytes:
    """Rows as CSV."""
    return _csv(pandas.DataFrame(list(rows)))


def _csv(frame: pandas.DataFrame) -> bytes:
    """Cells kept from running in a spreadsheet."""
    for name in frame.columns:
        if frame[name].dtype.kind not in "fiub":
            frame[name] = [guarded(v) if isinstance(v, str) else v for v in frame[name]]
    return frame.to_csv(index=False, lineterminator="\n").encode()
