"""site_shapefile.zip: the map layers as shapefiles, with styles, the meaning of every short field name and
the cautions beside them."""

from __future__ import annotations

import csv
import io
import tempfile
import warnings
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas
import pandas
import pyogrio

from treescan.assess import Assessment
from treescan.cautions import all_cautions
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.gis.gis_layers import Layer, layers
from treescan.outputs.gis.map_files import FIXED_DATE, map_system
from treescan.outputs.gis.map_styles import LOOKS, qml, sld

LONGEST_NAME, LONGEST_TEXT = 10, 254
"""Of a field name (characters) and of a text (bytes): limits of the dBASE table inside a shapefile."""
SHORT = {
    "parent_limb": "parent_lmb",
    "branch_order": "branch_ord",
    "base_diameter": "base_dia",
    "parent_diameter": "parent_dia",
    "smallest_diameter": "small_dia",
    "aspect_ratio": "aspect",
    "margin_median": "margin_med",
    "worst_work_point": "worst_work",
    "isolation_class": "isol_class",
    "coverage_share": "cover_shar",
    "azimuth_deg": "azimut_deg",
    "elevation_deg": "elev_deg",
    "first_served_by": "served_by",
    "first_union": "first_unio",
    **{f"best_union_class{c}": f"union_c{c}" for c in (1, 2, 3)},
    **{f"best_chance_class{c}": f"chance_c{c}" for c in (1, 2, 3)},
}
"""Field names of the GeoPackage that are too long for a shapefile, and what they are called there."""
TOO_LONG = "_data"
"""Ending of the columns that hold findings as code and values: no shapefile can hold them, the GeoPackage
does."""

CHANGED = (1980, 1, 1, 0, 0, 0)
"""Time stamp of every member, the earliest a zip file knows: the same results give the same bytes."""


@for_programs
def shapefile_bytes(a: Assessment) -> bytes:
    """All layers as one zip that map programs open as it is, the same bytes for the same assessment."""
    made = [fitting(layer) for layer in layers(a)]
    members: dict[str, bytes] = {
        "CAUTIONS.txt": ("\n\n".join(all_cautions()) + "\n").encode(),
        "fields.csv": _fields(made),
    }
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for layer in made:
            _write(layer, map_system(a), Path(folder))
            if layer.name in LOOKS:
                members[f"{layer.name}.qml"] = qml(layer.name, SHORT).encode()
                members[f"{layer.name}.sld"] = sld(layer.name, SHORT).encode()
        members |= {p.name: p.read_bytes() for p in Path(folder).iterdir()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in sorted(members):
            archive.writestr(zipfile.ZipInfo(name, CHANGED), members[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def fitting(layer: Layer) -> Layer:
    """The columns of a layer that a shapefile can hold."""
    return replace(
        layer, columns={name: values for name, values in layer.columns.items() if not name.endswith(TOO_LONG)}
    )


def _write(layer: Layer, crs: Any, folder: Path) -> None:
    """One layer; texts that do not fit are cut with dots, the caution goes on in a second field."""
    columns: dict[str, list[Any]] = {}
    for name, values in layer.columns.items():
        short = SHORT.get(name, name)
        if name == "caution":
            parts = [_split(v) for v in values]
            columns[short], columns["caution_2"] = [p[0] for p in parts], [p[1] for p in parts]
        else:
            columns[short] = [_cut(v) for v in values]
    frame = geopandas.GeoDataFrame(pandas.DataFrame(columns), geometry=layer.shapes, crs=crs)
    pyogrio.write_dataframe(
        frame,
        folder / f"{layer.name}.shp",
        driver="ESRI Shapefile",
        geometry_type=layer.kind if layer.kind == "Polygon" else layer.kind + " Z",
        layer_options={"ENCODING": "UTF-8", "DBF_DATE_LAST_UPDATE": FIXED_DATE[:10]},
    )


def _cut(value: Any) -> Any:
    """A text short enough for the table: whole characters, then dots."""
    if not isinstance(value, str) or len(value.encode()) <= LONGEST_TEXT:
        return value
    return value.encode()[: LONGEST_TEXT - 3].decode(errors="ignore") + "..."


def _split(text: str) -> tuple[str, str]:
    """A text over two fields, parted between words."""
    if len(text.encode()) <= LONGEST_TEXT:
        return text, ""
    at = text[: LONGEST_TEXT - 20].rfind(" ")
    return text[:at], text[at + 1 :]


def _fields(made: Sequence[Layer]) -> bytes:
    """What every short field name stands for."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(("layer", "field", "name in site.gpkg", "layer shows"))
    for layer in made:
        table.writerows((layer.name, SHORT.get(n, n), n, layer.about) for n in layer.columns)
    return out.getvalue().encode()
