"""Which map files are read, and by what? By driver and content, never from a network or through another file."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import geopandas
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, FieldError, GeometryError
from pyproj.exceptions import ProjError

from treescan.errors import BadInput, in_words
from treescan.ordinary_file import check_ordinary

KNOWN = "GeoPackage, shapefile, GeoJSON or CSV"
MARKS = {".gpkg": b"SQLite format 3\0", ".shp": b"\0\0\x27\x0a"}
"""First bytes of the files each driver reads (SQLite file format, 1.3; ESRI shapefile, file code 9994)."""
MAP_JSON = (".geojson", ".json")
ADDRESS = re.compile(r"(?:[A-Za-z][A-Za-z0-9+.\-]+:/|/+vsi[a-z0-9_]*/|//)", re.IGNORECASE)
SYSTEM_NAME = re.compile(r"(?:urn:(?:ogc|x-ogc):def:crs:[\w.:\-]+|(?:EPSG|OGC|ESRI|IGNF):[\w.:\-]+)", re.IGNORECASE)
"""Names of reference systems that are looked up in a table, not fetched."""
FAULTS = (
    OSError,
    ValueError,
    RuntimeError,
    DataLayerError,
    DataSourceError,
    FeatureError,
    FieldError,
    GeometryError,
    ProjError,
)


def check_source(path: Path) -> None:
    """BadInput for anything but a file on this machine that its driver reads without asking another.

    A GeoJSON file that is something else inside (a virtual file), or whose reference system is an address,
    would make the map library fetch it.
    """
    if ADDRESS.match(str(path)):
        raise BadInput(
            "is an address, not a file on this machine",
            file=str(path),
            remedy="download it first and name the file",
        )
    check_ordinary(path)
    if not path.is_file():
        what = "is a folder, not an inventory" if path.is_dir() else "there is no such file"
        raise BadInput(what, file=str(path), remedy=f"name one file: {KNOWN}")
    ending = path.suffix.lower()
    if ending in MAP_JSON:
        _check_json(path)
    elif ending in MARKS:
        with path.open("rb") as f:
            if not f.read(16).startswith(MARKS[ending]):
                raise BadInput(f"does not start like a {ending} file", file=str(path), remedy="export it again")
    elif ending not in (".csv", ".txt"):
        raise BadInput("is no kind of inventory that is read", file=str(path), remedy=f"give {KNOWN}")


def read_map(path: Path, layer: str | None = None) -> geopandas.GeoDataFrame:
    """A map file as a table with places; BadInput in one sentence where it cannot be."""
    check_source(path)
    pyogrio.set_gdal_config_options({"CPL_VSIL_CURL_ALLOWED_EXTENSIONS": "{none}", "OGR_SQLITE_LOAD_EXTENSIONS": "NO"})
    try:
        found = geopandas.read_file(path.resolve(), **({"layer": layer} if layer else {}))
    except FAULTS as err:
        raise BadInput(
            f"cannot be read as a map ({in_words(err)})", file=str(path), remedy=f"export it again as {KNOWN}"
        ) from err
    if not isinstance(found, geopandas.GeoDataFrame):
        found = geopandas.GeoDataFrame(found, geometry=geopandas.GeoSeries([None] * len(found)))
    return found


def _check_json(path: Path) -> None:
    """BadInput unless the file is one GeoJSON collection whose reference system is a plain name."""
    systems: list[dict[str, Any]] = []

    def seen(found: dict[str, Any]) -> dict[str, Any]:
        if isinstance(found.get("crs"), dict):
            systems.append(found["crs"])
        return found

    try:
        data = json.loads(path.read_text(encoding="utf-8-sig"), object_hook=seen)
    except OSError as err:
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path)) from err
    except RecursionError as err:
        raise BadInput("is nested too deeply", file=str(path), remedy="export it again") from err
    except ValueError as err:
        raise BadInput(f"is not valid JSON ({in_words(err)})", file=str(path), remedy="export it again") from err
    if not isinstance(data, dict) or data.get("type") != "FeatureCollection":
        raise BadInput("is not a GeoJSON FeatureCollection", file=str(path), remedy="export it again")
    features = data.get("features")
    if not isinstance(features, list) or not all(isinstance(f, dict) for f in features):
        raise BadInput("has a feature that is none", file=str(path), remedy="write it as RFC 7946 says")
    if not all(map(_plain_system, systems)) or not isinstance(data.get("crs", {}), (dict, type(None))):
        raise BadInput(
            "names its reference system by an address or in a way that is not read",
            file=str(path),
            remedy="name it like EPSG:25832",
        )


def _plain_system(crs: dict[str, Any]) -> bool:
    named = crs.get("properties")
    name = named.get("name") if isinstance(named, dict) and crs.get("type") == "name" else None
    return isinstance(name, str) and SYSTEM_NAME.fullmatch(name) is not None
