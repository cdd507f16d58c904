"""site.gpkg and anchors.geojson: the results on a map, in the cloud's own system and in WGS84."""

from __future__ import annotations

import json
import tempfile
import warnings
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas
import pyogrio
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from shapely.geometry.base import BaseGeometry

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS, all_cautions
from treescan.cloud.projection import plan_crs
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.gis.gis_layers import Layer, layers
from treescan.outputs.gis.map_styles import styles_table
from treescan.outputs.strict_json import tame

FIXED_DATE = "2000-01-01T00:00:00.000Z"
"""Written instead of the clock, so that the same results give the same bytes."""


def map_system(a: Assessment) -> CRS | None:
    """The cloud's coordinate system, None for a local frame or a text no library reads."""
    if not a.tree.frame.crs:
        return None
    try:
        return CRS.from_user_input(a.tree.frame.crs)
    except ProjError:
        return None


def own_system(a: Assessment) -> tuple[CRS | None, float]:
    """The system map files are written in, and its units in a metre: the file's own where it is in feet and has a
    code, so that the file keeps the cloud's code; else that of the plan in metres. Heights stay in metres."""
    frame = a.tree.frame
    if frame.file_crs and not frame.in_degrees and frame.unit_m != 1.0:
        try:
            own = plan_crs(CRS.from_user_input(frame.file_crs))
        except ProjError:
            own = None
        if own is not None and own.is_projected and own.to_epsg() is not None:
            return own, 1.0 / frame.unit_m
    return map_system(a), 1.0


def as_frame(layer: Layer, crs: CRS | None, scale: float) -> geopandas.GeoDataFrame:
    """A layer as a table whose whole numbers stay whole where cells are empty; plan coordinates times `scale`."""
    columns = {
        name: pandas.array(values, dtype="Int64") if _whole(values) else values
        for name, values in layer.columns.items()
    }
    shapes = layer.shapes if scale == 1.0 else [_scaled(g, scale) for g in layer.shapes]
    return geopandas.GeoDataFrame(pandas.DataFrame(columns), geometry=shapes, crs=crs)


def _whole(values: list[Any]) -> bool:
    """Whether a column holds whole numbers and empty cells, and nothing else."""
    held = [v for v in values if v is not None]
    return bool(held) and all(isinstance(v, int) and not isinstance(v, bool) for v in held)


def _scaled(shape: BaseGeometry, scale: float) -> BaseGeometry:
    return shapely.transform(
        shape, lambda xyz: np.round(xyz * ([scale, scale, 1.0][: xyz.shape[1]]), 4), include_z=shape.has_z
    )


@for_programs
def geopackage_bytes(a: Assessment) -> bytes:
    """All layers as one GeoPackage, the same bytes for the same assessment."""
    (crs, scale), made = own_system(a), layers(a)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            path = Path(folder) / "site.gpkg"
            for layer in made:
                pyogrio.write_dataframe(
                    as_frame(layer, crs, scale),
                    path,
                    layer=layer.name,
                    driver="GPKG",
                    geometry_type=layer.kind if layer.kind == "Polygon" else layer.kind + " Z",
                    layer_options={"DESCRIPTION": layer.about},
                    dataset_options=None if path.exists() else {"VERSION": "1.2"},
                )
            cautions = pandas.DataFrame({"key": list(CAUTIONS), "caution": list(CAUTIONS.values())})
            pyogrio.write_dataframe(
                cautions,
                path,
                layer="cautions",
                driver="GPKG",
                layer_options={"DESCRIPTION": CAUTIONS["planning_aid"]},
            )
            pyogrio.write_dataframe(
                styles_table([m.name for m in made]),
                path,
                layer="layer_styles",
                driver="GPKG",
                layer_options={"FID": "id"},
            )
            return path.read_bytes()
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


@for_programs
def geojson_bytes(a: Assessment) -> bytes | None:
    """Stem, anchors, standing places, throws, zones, conductors and drawn points as GeoJSON in WGS84 (RFC 7946); None without a known
    system."""
    crs = map_system(a)
    if crs is None:
        return None
    to_wgs84 = Transformer.from_crs(crs.to_2d() if crs.is_compound else crs, "EPSG:4326", always_xy=True)
    features = [
        f
        for layer in layers(a)
        if layer.name in ("stem", "anchors", "standing", "throws", "zones", "conductors", "drawn_points")
        for f in _features(layer, to_wgs84)
    ]
    content = {"type": "FeatureCollection", "features": features, "cautions": list(all_cautions())}
    return (json.dumps(tame(content), allow_nan=False, ensure_ascii=False) + "\n").encode()


def _features(layer: Layer, to_wgs84: Transformer) -> list[dict[str, Any]]:
    out = []
    for i, shape in enumerate(layer.shapes):
        polygon = layer.kind == "Polygon"
        xyz = np.array(shape.exterior.coords if polygon else shape.coords, float)
        lon, lat = to_wgs84.transform(xyz[:, 0], xyz[:, 1])
        places = [
            [round(float(x), 8), round(float(y), 8), *([round(float(z), 3)] if len(row) > 2 else [])]
            for x, y, row, z in zip(lon, lat, xyz, xyz[:, -1], strict=True)
        ]
        if polygon and shape.exterior.is_ccw is False:
            places.reverse()
        coordinates: Any = [places] if polygon else places[0] if layer.kind == "Point" else places
        properties = {"layer": layer.name, **{name: values[i] for name, values in layer.columns.items()}}
        out.append(
            {
                "type": "Feature",
                "geometry": {"type": layer.kind, "coordinates": coordinates},
                "properties": properties,
            }
        )
    return out
