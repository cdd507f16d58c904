"""Default map styles kept inside the GeoPackage, so that a GIS opens it with sizes and colours that mean something."""

from __future__ import annotations

from collections.abc import Sequence

import pandas

MARK = (
    '<symbol type="marker" name="{name}" alpha="1"><layer class="SimpleMarker" enabled="1"><Option type="Map">'
    '<Option type="QString" name="name" value="{shape}"/><Option type="QString" name="color" value="{fill}"/>'
    '<Option type="QString" name="outline_color" value="{edge}"/><Option type="QString" name="size" value="{size}"/></Option>'
    "</layer></symbol>"
)
LINE = (
    '<symbol type="line" name="{name}" alpha="1"><layer class="SimpleLine" enabled="1"><Option type="Map">'
    '<Option type="QString" name="line_color" value="{edge}"/><Option type="QString" name="line_width" value="{size}"/>'
    '<Option type="QString" name="line_style" value="{shape}"/></Option></layer></symbol>'
)
AREA = (
    '<symbol type="fill" name="{name}" alpha="0.6"><layer class="SimpleFill" enabled="1"><Option type="Map">'
    '<Option type="QString" name="color" value="{fill}"/><Option type="QString" name="outline_color" value="{edge}"/>'
    '<Option type="QString" name="style" value="{shape}"/></Option></layer></symbol>'
)
HEAD = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'><qgis version=\"3.0\" styleCategories=\"Symbology\">"
LOOKS = {
    "stem": (MARK, "circle", "122,106,79,255", "27,42,51,255", "4"),
    "neighbour_stems": (MARK, "circle", "200,200,200,255", "120,120,120,255", "3"),
    "unions": (MARK, "circle", "255,255,255,255", "120,112,98,255", "1.6"),
    "anchors": (MARK, "circle", "255,255,255,255", "16,50,77,255", "3"),
    "standing": (MARK, "square", "29,92,143,255", "64,56,43,255", "1.8"),
    "work": (MARK, "cross", "0,0,0,255", "0,0,0,255", "2"),
    "limbs": (LINE, "solid", "", "122,106,79,255", "0.5"),
    "throws": (LINE, "solid", "", "168,72,11,255", "0.4"),
    "ropes": (LINE, "solid", "", "16,50,77,255", "0.6"),
    "conductors": (LINE, "dash dot", "", "0,0,0,255", "0.5"),
    "zones": (AREA, "b_diagonal", "168,72,11,255", "168,72,11,255", ""),
}
"""Layer to (template, form, fill, edge, size)."""


def style_text(layer: str) -> str:
    """The style of one layer as the XML text that GIS programs keep beside a layer."""
    template, shape, fill, edge, size = LOOKS[layer]
    symbol = template.format(name="0", shape=shape, fill=fill, edge=edge, size=size)
    body = f'<renderer-v2 type="singleSymbol"><symbols>{symbol}</symbols></renderer-v2>'
    return f"{HEAD}{body}</qgis>"


def styles_table(names: Sequence[str]) -> pandas.DataFrame:
    """Rows of the table in which a GeoPackage keeps the default style of each layer."""
    known = [n for n in names if n in LOOKS]
    count = len(known)
    return pandas.DataFrame(
        {
            "f_table_catalog": [""] * count,
            "f_table_schema": [""] * count,
            "f_table_name": known,
            "f_geometry_column": ["geom"] * count,
            "styleName": ["treescan"] * count,
            "styleQML": [style_text(n) for n in known],
            "styleSLD": [""] * count,
            "useAsDefault": [True] * count,
            "description": ["planning aid, candidates to be inspected"] * count,
            "owner": [""] * count,
            "ui": [""] * count,
            "update_time": [pandas.Timestamp("2000-01-01", tz="UTC")] * count,
        }
    )
