"""How does a map show each layer? One description of sizes, colours and labels, written as QML and as SLD
for any GIS."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

import pandas

from treescan.outputs.text.say import text

INK, DEEP, BLUE, PALE, ORANGE, GREY, SAND = (
    "#1b2a33",
    "#10324d",
    "#17507f",
    "#c7d8e4",
    "#a8480b",
    "#8b9298",
    "#7a6a4f",
)


@dataclass(frozen=True)
class Rule:
    """One entry of the legend: its text by code, which rows (`value`, or from `low` up to `high`, of the
    look's field), how they are drawn."""

    code: str
    shape: str
    fill: str = ""
    edge: str = INK
    size: float = 2.0
    value: str = ""
    low: float = 0.0
    high: float = 0.0

    @property
    def words(self) -> str:
        """The entry as the reader sees it."""
        return text(self.code, low=self.low, high=self.high) if self.high > self.low else text(self.code)


@dataclass(frozen=True)
class LayerLook:
    """A layer's legend. `kind` is marker, line or fill; `field` sorts rows into rules (by value, or by
    range); `label` is a field."""

    kind: str
    rules: tuple[Rule, ...]
    field: str = ""
    ranges: bool = False
    label: str = ""


def _chances(shape: str, kind: str, field: str) -> LayerLook:
    """Four steps of chance, small and pale to large and dark."""
    steps = (
        (0.0, 0.02, "#ffffff", 1.2),
        (0.02, 0.1, "#c7d8e4", 1.8),
        (0.1, 0.3, "#6fa8cf", 2.4),
        (0.3, 1.0, "#17507f", 3.0),
    )
    rules = tuple(
        Rule("legend_chance", shape, fill, DEEP, size, low=low, high=high) for low, high, fill, size in steps
    )
    return LayerLook(kind, rules, field, True)


LOOKS: dict[str, LayerLook] = {
    "stem": LayerLook("marker", (Rule("legend_stem", "circle", SAND, INK, 4.0),)),
    "neighbour_stems": LayerLook(
        "marker", (Rule("legend_neighbour_stems", "circle", "#c8c8c8", "#787878", 3.0),)
    ),
    "limbs": LayerLook("line", (Rule("legend_limbs", "solid", edge=SAND, size=0.5),)),
    "unions": LayerLook("marker", (Rule("legend_unions", "circle", "#ffffff", "#787062", 1.6),)),
    "anchors": LayerLook(
        "marker",
        (
            Rule("legend_candidate", "circle", DEEP, "#ffffff", 3.4, "candidate"),
            Rule("legend_inspect_first", "diamond", ORANGE, "#ffffff", 3.4, "inspect first"),
            Rule("legend_not_ranked", "circle", "#ffffff", GREY, 2.0, "not ranked"),
            Rule("legend_not_assessable", "cross", GREY, GREY, 2.0, "not assessable"),
        ),
        "verdict",
        label="union",
    ),
    "standing": _chances("square", "marker", "best_chance_class3"),
    "throws": LayerLook("line", (Rule("legend_throws", "solid", edge=ORANGE, size=0.2),)),
    "ropes": LayerLook("line", (Rule("legend_ropes", "solid", edge="#000000", size=0.6),)),
    "work": LayerLook("marker", (Rule("legend_work", "cross", "#000000", "#000000", 2.0),)),
    "conductors": LayerLook("line", (Rule("legend_conductors", "dash dot", edge="#000000", size=0.5),)),
    "drawn_points": LayerLook(
        "marker",
        (
            Rule("legend_anchor", "triangle", "#ffffff", DEEP, 3.0, "anchor"),
            Rule("legend_base", "square", "#ffffff", DEEP, 3.0, "base"),
        ),
        "kind",
        label="name",
    ),
    "zones": LayerLook(
        "fill",
        (
            Rule("legend_building", "solid", "#ddd2c2", INK, 0.3, "building"),
            Rule("legend_road", "solid", "#e9e4d8", GREY, 0.3, "road"),
            Rule("legend_water", "solid", "#d7e3ea", BLUE, 0.3, "water"),
            Rule("legend_no_standing", "b_diagonal", ORANGE, ORANGE, 0.3, "no standing"),
        ),
        "zone",
    ),
    "inventory": LayerLook(
        "marker", (Rule("legend_inventory", "triangle", PALE, DEEP, 3.0),), label="inv_id"
    ),
}
"""Layer to its look; names of fields as in `gis_layers`."""


def qml(layer: str, names: Mapping[str, str] | None = None) -> str:
    """The style as the XML that QML readers keep beside a layer; `names` maps our field names to those of
    the file."""
    look, names = LOOKS[layer], names or {}
    symbols = "".join(_symbol(look.kind, r, i) for i, r in enumerate(look.rules))
    field = quoteattr(names.get(look.field, look.field))
    body = f"<symbols>{symbols}</symbols>"
    if not look.field:
        renderer = f'<renderer-v2 type="singleSymbol">{body}</renderer-v2>'
    elif look.ranges:
        rows = "".join(
            f'<range symbol="{i}" lower="{r.low}" upper="{r.high}" label={quoteattr(r.words)} render="true"/>'
            for i, r in enumerate(look.rules)
        )
        renderer = f'<renderer-v2 type="graduatedSymbol" attr={field} graduatedMethod="GraduatedColor"><ranges>{rows}</ranges>{body}</renderer-v2>'
    else:
        rows = "".join(
            f'<category symbol="{i}" value={quoteattr(r.value)} label={quoteattr(r.words)} type="string" render="true"/>'
            for i, r in enumerate(look.rules)
        )
        renderer = f'<renderer-v2 type="categorizedSymbol" attr={field}><categories>{rows}</categories>{body}</renderer-v2>'
    labels = _labels(names.get(look.label, look.label)) if look.label else ""
    on = f' labelsEnabled="{int(bool(look.label))}"'
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>"
        f'<qgis version="3.0" styleCategories="Symbology|Labeling"{on}>{renderer}{labels}</qgis>'
    )


def _options(pairs: Mapping[str, str]) -> str:
    return (
        '<Option type="Map">'
        + "".join(f'<Option type="QString" name="{k}" value={quoteattr(v)}/>' for k, v in pairs.items())
        + "</Option>"
    )


def _symbol(kind: str, r: Rule, number: int) -> str:
    """One symbol of the legend."""
    if kind == "marker":
        layer, pairs = (
            "SimpleMarker",
            {"name": r.shape, "color": _rgba(r.fill), "outline_color": _rgba(r.edge), "size": f"{r.size:g}"},
        )
    elif kind == "line":
        layer, pairs = (
            "SimpleLine",
            {"line_color": _rgba(r.edge), "line_width": f"{r.size:g}", "line_style": r.shape},
        )
    else:
        layer, pairs = (
            "SimpleFill",
            {
                "color": _rgba(r.fill),
                "outline_color": _rgba(r.edge),
                "outline_width": f"{r.size:g}",
                "style": r.shape,
            },
        )
    alpha = "0.6" if kind == "fill" else "1"
    return f'<symbol type="{kind}" name="{number}" alpha="{alpha}"><layer class="{layer}" enabled="1">{_options(pairs)}</layer></symbol>'


def _rgba(colour: str) -> str:
    return ",".join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5)) + ",255"


def _labels(field: str) -> str:
    style = (
        f'<text-style fieldName={quoteattr(field)} isExpression="0" fontSize="9" fontFamily="Sans" fontSizeUnit="Point" textOpacity="1" '
        'textColor="27,42,51,255">'
    )
    halo = '<text-buffer bufferDraw="1" bufferSize="0.8" bufferColor="255,255,255,255" bufferOpacity="1"/>'
    place = '<placement placement="0" dist="1" placementFlags="10" priority="8"/>'
    shown = '<rendering drawLabels="1" displayAll="0" obstacle="0"/>'
    return f'<labeling type="simple"><settings>{style}{halo}</text-style>{place}{shown}</settings></labeling>'


MARKS = {
    "circle": "circle",
    "square": "square",
    "cross": "cross",
    "diamond": "square",
    "triangle": "triangle",
}
"""Our shapes by the well-known names of the SLD standard; it has no diamond, a square turned by 45 degrees
stands for it."""


def sld(layer: str, names: Mapping[str, str] | None = None) -> str:
    """The style as Styled Layer Descriptor 1.0.0 of the Open Geospatial Consortium; sizes in pixels."""
    look, names = LOOKS[layer], names or {}
    rules = "".join(_sld_rule(look, r, names) for r in look.rules)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<StyledLayerDescriptor version="1.0.0" xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc">'
        f"<NamedLayer><Name>{layer}</Name><UserStyle><Name>treescan</Name><FeatureTypeStyle>{rules}</FeatureTypeStyle></UserStyle></NamedLayer>"
        "</StyledLayerDescriptor>"
    )


def _sld_rule(look: LayerLook, r: Rule, names: Mapping[str, str]) -> str:
    field = escape(names.get(look.field, look.field))
    by = f"<ogc:PropertyName>{field}</ogc:PropertyName>"
    if not look.field:
        chosen = ""
    elif look.ranges:
        low, high = (
            f"<ogc:{name}Boundary><ogc:Literal>{v:g}</ogc:Literal></ogc:{name}Boundary>"
            for name, v in (("Lower", r.low), ("Upper", r.high))
        )
        chosen = f"<ogc:Filter><ogc:PropertyIsBetween>{by}{low}{high}</ogc:PropertyIsBetween></ogc:Filter>"
    else:
        chosen = f"<ogc:Filter><ogc:PropertyIsEqualTo>{by}<ogc:Literal>{escape(r.value)}</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>"
    label = _sld_label(names.get(look.label, look.label)) if look.label else ""
    return f"<Rule><Name>{escape(r.words)}</Name>{chosen}{_sld_symbol(look.kind, r)}{label}</Rule>"


def _css(**parameters: str) -> str:
    return "".join(
        f'<CssParameter name="{k.replace("_", "-")}">{v}</CssParameter>' for k, v in parameters.items()
    )


def _sld_symbol(kind: str, r: Rule) -> str:
    if kind == "marker":
        edge = _css(stroke=r.edge, stroke_width="1")
        mark = f"<Mark><WellKnownName>{MARKS[r.shape]}</WellKnownName><Fill>{_css(fill=r.fill)}</Fill><Stroke>{edge}</Stroke></Mark>"
        turn = "<Rotation>45</Rotation>" if r.shape == "diamond" else ""
        return f"<PointSymbolizer><Graphic>{mark}<Size>{3.8 * r.size:.0f}</Size>{turn}</Graphic></PointSymbolizer>"
    dashes = {"stroke_dasharray": "9 3 2 3"} if r.shape == "dash dot" else {}
    line = f"<Stroke>{_css(stroke=r.edge, stroke_width=f'{max(1.0, 3.8 * r.size):.1f}', **dashes)}</Stroke>"
    if kind == "line":
        return f"<LineSymbolizer>{line}</LineSymbolizer>"
    return (
        f"<PolygonSymbolizer><Fill>{_css(fill=r.fill, fill_opacity='0.4')}</Fill>{line}</PolygonSymbolizer>"
    )


def _sld_label(field: str) -> str:
    halo = f"<Halo><Radius>2</Radius><Fill>{_css(fill='#ffffff')}</Fill></Halo>"
    place = "<LabelPlacement><PointPlacement><Displacement><DisplacementX>8</DisplacementX><DisplacementY>4</DisplacementY></Displacement>"
    place += "</PointPlacement></LabelPlacement>"
    return (
        f"<TextSymbolizer><Label><ogc:PropertyName>{escape(field)}</ogc:PropertyName></Label><Font>{_css(font_size='11')}</Font>"
        f"{place}{halo}<Fill>{_css(fill=INK)}</Fill></TextSymbolizer>"
    )


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
            "styleQML": [qml(n) for n in known],
            "styleSLD": [sld(n) for n in known],
            "useAsDefault": [True] * count,
            "description": [text("map_style_about")] * count,
            "owner": [""] * count,
            "ui": [""] * count,
            "update_time": [pandas.Timestamp("2000-01-01", tz="UTC")] * count,
        }
    )
