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
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS, all_cautions
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


@for_programs
def geopackage_bytes(a: Assessment) -> bytes:
    """All layers as one GeoPackage, the same bytes for the same assessment."""
    crs, made = map_system(a), layers(a)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            path = Path(folder) / "site.gpkg"
            for layer in made:
                frame = geopandas.GeoDataFrame(
                    pandas.DataFrame(layer.columns), geometry=layer.shapes, crs=crs
                )
                pyogrio.write_dataframe(
                    frame,
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
    """Stem, anchors, standing places, throws and zones as GeoJSON in WGS84 (RFC 7946); None without a known
    system."""
    crs = map_system(a)
    if crs is None:
        return None
    to_wgs84 = Transformer.from_crs(crs.to_2d() if crs.is_compound else crs, "EPSG:4326", always_xy=True)
    features = [
        f
        for layer in layers(a)
        if layer.name in ("stem", "anchors", "standing", "throws", "zones")
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
