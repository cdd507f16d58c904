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

import pyogrio

from treescan.assess import Assessment
from treescan.cautions import all_cautions
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.gis.gis_layers import Layer, layers
from treescan.outputs.gis.map_files import FIXED_DATE, as_frame, own_system
from treescan.outputs.gis.map_styles import LOOKS, qml, sld

LONGEST_NAME, LONGEST_TEXT, MOST_FIELDS = 10, 254, 255
"""Of a field name (characters), a text (bytes), and fields: limits of the dBASE table inside a shapefile."""
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
    "first_place": "first_plac",
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
            _write(layer, own_system(a), Path(folder))
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


def spread(layer: Layer) -> Layer:
    """The layer with short field names; a text longer than a field goes on in further fields, between words where
    it can, so that nothing is cut."""
    columns: dict[str, list[Any]] = {}
    for name, values in layer.columns.items():
        short = SHORT.get(name, name)
        parts = [_parts(v) if isinstance(v, str) else [v] for v in values]
        most = max(map(len, parts), default=1)
        columns[short] = [p[0] for p in parts]
        for k in range(1, most):
            columns[further(short, k + 1)] = [p[k] if k < len(p) else "" for p in parts]
    return replace(layer, columns=columns)


def further(short: str, k: int) -> str:
    """Name of the k-th field of one long text.

    >>> further("caution", 2), further("worst_work", 12)
    ('caution_2', 'worst_w_12')
    """
    return f"{short[: LONGEST_NAME - len(str(k)) - 1]}_{k}"


def _write(layer: Layer, system: tuple[Any, float], folder: Path) -> None:
    """One layer."""
    pyogrio.write_dataframe(
        as_frame(spread(layer), *system),
        folder / f"{layer.name}.shp",
        driver="ESRI Shapefile",
        geometry_type=layer.kind if layer.kind == "Polygon" else layer.kind + " Z",
        layer_options={"ENCODING": "UTF-8", "DBF_DATE_LAST_UPDATE": FIXED_DATE[:10]},
    )


def _parts(text: str) -> list[str]:
    """A text in pieces that fit a field: parted at a blank, which is left out, or between whole characters."""
    out = []
    while len(text.encode()) > LONGEST_TEXT:
        head = text.encode()[:LONGEST_TEXT].decode(errors="ignore")
        at = head.rfind(" ")
        cut = at if at > 0 else len(head)
        out.append(text[:cut])
        text = text[cut + 1 :] if at > 0 else text[cut:]
    return [*out, text]


def _fields(made: Sequence[Layer]) -> bytes:
    """What every short field name stands for."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(("layer", "field", "name in site.gpkg", "layer shows"))
    for layer in made:
        held = spread(layer).columns
        for n in layer.columns:
            short = SHORT.get(n, n)
            own = [short, *(f for k in range(2, MOST_FIELDS) if (f := further(short, k)) in held)]
            table.writerows((layer.name, field, n, layer.about) for field in own)
    return out.getvalue().encode()
