"""tables/: tidy tables for a study, one thing a row, with a codebook and a methods paragraph; CSV and
Parquet alike."""

from __future__ import annotations

import io
import json
import math
import platform
from collections.abc import Callable
from importlib.metadata import version
from typing import Any

import numpy as np
import pandas
import pyarrow
from pyarrow import parquet

from treescan import settings as settings_module
from treescan.assess import Assessment, Settings
from treescan.cautions import CAUTIONS, all_cautions
from treescan.errors import BadInput
from treescan.outputs.data.anchors_csv import anchor_rows
from treescan.outputs.data.codebook import CODEBOOK, columns_of
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import in_a_cell
from treescan.outputs.shapes.cached import cached
from treescan.outputs.shapes.place_names import place_names
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import say, text, word
from treescan.sources import SOURCES
from treescan.spreadsheet import guarded

KINDS = ("anchors", "unions", "limbs", "sections", "throws", "coverage", "strata", "cuts")
TABLES = (*(f"{kind}.{ending}" for kind in KINDS for ending in ("csv", "parquet")), "codebook.csv")
COORDINATES = (
    *("x", "y", "z"),
    *("stand_x", "stand_y", "stand_z"),
    *("centre_x", "centre_y", "centre_z"),
)
"""Columns in map coordinates, kept to 0.1 mm; every other number keeps six significant digits."""
LIBRARIES = ("numpy", "scipy", "numba", "networkx", "trimesh")


@for_programs
def table_bytes(a: Assessment, name: str) -> bytes | None:
    """One table as the bytes of its file; None for a table without rows."""
    kind, ending = name.rsplit(".", 1)
    frame = codebook() if kind == "codebook" else _shared(a, kind)
    if frame.empty:
        return None
    if ending == "csv":
        texts = {c: frame[c].map(guarded) for c in frame.columns if frame[c].dtype.kind not in "fiub"}
        return frame.assign(**texts).to_csv(index=False, lineterminator="\n").encode()
    out = io.BytesIO()
    notes = {
        "cautions": json.dumps(all_cautions(), ensure_ascii=False),
        "codebook": json.dumps(_explained(kind), ensure_ascii=False),
    }
    arrow = pyarrow.Table.from_pandas(frame, preserve_index=False)
    parquet.write_table(arrow.replace_schema_metadata({**(arrow.schema.metadata or {}), **notes}), out)
    return out.getvalue()


@for_programs
def table(a: Assessment, kind: str) -> pandas.DataFrame:
    """One table; every column stands in the codebook, the last holds the standing caution in its first
    row. BadInput for a name that is none of "anchors", "unions", "limbs", "sections", "throws", "coverage", "strata", "cuts"."""
    if kind not in MAKERS:
        raise BadInput(f"there is no table {kind!r}", remedy=f"ask for one of {', '.join(MAKERS)}")
    frame = MAKERS[kind](a)
    for column in frame.columns:
        if frame[column].dtype.kind == "f":
            frame[column] = _rounded(frame[column].to_numpy(), column in COORDINATES)
    frame["caution"] = ([CAUTIONS["planning_aid"]] + [""] * len(frame))[: len(frame)]
    return frame


_shared = cached(table)
"""CSV and Parquet hold the same table."""


def _rounded(values: Any, coordinate: bool) -> Any:
    """Numbers as they are published, the same in every format."""
    if coordinate:
        return np.round(values, 4)
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.floor(np.log10(np.abs(values)))
    plain = np.isfinite(size)
    step = 5 - np.where(plain, size, 5).astype(int)
    up, down = 10.0 ** np.maximum(step, 0), 10.0 ** np.maximum(-step, 0)
    return np.where(plain, np.round(values * up / down) / up * down, values)


def _explained(kind: str) -> dict[str, dict[str, str]]:
    """Unit, meaning and source of each column of one table."""
    return {
        c.name: {"unit": c.unit, "meaning": c.meaning, "source": c.source}
        for c in CODEBOOK
        if c.table == kind
    }


@for_programs
def codebook() -> pandas.DataFrame:
    """Every column of every table: name, unit, meaning, source; and every caution."""
    rows = [(c.table, c.name, c.unit, c.meaning, c.source) for c in CODEBOOK]
    rows += [(kind, "caution", "", CAUTIONS["planning_aid"], "") for kind in KINDS]
    rows += [("every table", "", "", caution, "") for caution in all_cautions()]
    return pandas.DataFrame(rows, columns=["table", "column", "unit", "meaning", "source"])


def _frame(kind: str, rows: list[tuple[Any, ...]]) -> pandas.DataFrame:
    """Rows as a table with the codebook's columns."""
    return pandas.DataFrame(rows, columns=columns_of(kind))


def _anchors(a: Assessment) -> pandas.DataFrame:
    """The columns of anchors.csv; rank 0 stands for "not ranked", as in the other tables."""
    columns = columns_of("anchors")
    rows = [{**row, "rank": row["rank"] or 0} for row in anchor_rows(a)]
    frame = pandas.DataFrame(rows, columns=columns)
    loose = [c for c in columns if frame[c].dtype == object]
    return frame.astype(
        {c: float for c in loose if all(isinstance(v, (int, float, type(None))) for v in frame[c])}
    )


def _unions(a: Assessment) -> pandas.DataFrame:
    u, rows = a.tree.graph.unions, []
    at, names = a.tree.frame.to_map(u.place), place_names(a.tree.graph)
    for k, label in enumerate(u.label):
        for i in range(int(u.arm_start[k]), int(u.arm_start[k + 1])):
            rows.append(
                (
                    label,
                    say(names[k]),
                    int(u.node[k]),
                    *at[k],
                    u.height[k],
                    u.parent_diameter[k],
                    u.parent_diameter_sd[k],
                    u.aspect_ratio(k),
                    int(u.arm_limb[i]),
                    bool(u.arm_continues[i]),
                    u.arm_diameter[i],
                    u.arm_diameter_sd[i],
                    math.degrees(u.arm_attachment[i]),
                    math.degrees(u.arm_slope[i]),
                    " ".join(u.flags[k]),
                )
            )
    return _frame("unions", rows)


def _limbs(a: Assessment) -> pandas.DataFrame:
    g, fit, rows = a.tree.graph, {b["limb"]: b for b in a.tree.fitness.limbs}, []
    for k, own in enumerate(g.limbs.nodes):
        nodes = own[own > 0]
        if len(nodes):
            length, r = g.length[nodes], g.segment_radius[nodes]
            volume = float((math.pi * r**2 * length).sum())
            seen = float((length * g.seen[nodes]).sum() / max(length.sum(), 1e-12))
            told = fit.get(k, {})
            wanted = in_a_cell("rescan", (told["rescan"],) if told.get("rescan") else ())
            what = (told.get("fit_for", ""), told.get("measured", math.nan), *wanted.values())
            rows.append(
                (
                    k,
                    int(g.limbs.parent[k]),
                    int(g.limbs.order[k]),
                    len(nodes),
                    length.sum(),
                    2 * r[0],
                    2 * r[-1],
                    volume,
                    seen,
                    *what,
                )
            )
    return _frame("limbs", rows)


def _sections(a: Assessment) -> pandas.DataFrame:
    g, rows = a.tree.graph, []
    for p in a.points:
        c = p.check.check
        for i, n in enumerate(c.nodes):
            rows.append(
                (
                    p.rank if p.usable else 0,
                    p.label,
                    p.system,
                    p.hardware,
                    i,
                    int(n),
                    g.xyz[n, 2] - g.xyz[0, 2],
                    2 * g.segment_radius[n],
                    2 * g.radius_sd[n],
                    g.oval[n],
                    *_long_way(g.oval_dir[n]),
                    bool(g.seen[n]),
                    c.moment[i],
                    c.torsion[i],
                    c.axial[i],
                    c.shear[i],
                    c.stress[i],
                    c.strength[i],
                    c.utilisation[i],
                    int(n) == c.governing,
                )
            )
    return _frame("sections", rows)


def _long_way(along: Any) -> tuple[float, float]:
    """Azimuth 0 to 180 and slope 0 to 90 of a line, NaN for none. [deg]"""
    x, y, z = along
    if x == y == z == 0:
        return math.nan, math.nan
    return math.degrees(math.atan2(x, y)) % 180.0, math.degrees(math.atan2(abs(z), math.hypot(x, y)))


def _throws(a: Assessment) -> pandas.DataFrame:
    labels, names, rows = a.tree.graph.unions.label, place_names(a.tree.graph), []
    for (k, c), t in sorted(a.throws.best.items()):
        stand = a.tree.frame.to_map(t.stand)
        rows.append(
            (
                labels[k],
                say(names[k]),
                c,
                f"S{t.stance + 1:03d}",
                *stand,
                t.method,
                math.degrees(t.azimuth) % 360,
                math.degrees(t.elevation),
                t.speed,
                t.chance,
                t.rest_distance,
                bool(t.slides),
                " ".join(word(u) for u in t.captured_unions),
                t.workings,
                t.min_weight,
            )
        )
    return _frame("throws", rows)


def _coverage(a: Assessment) -> pandas.DataFrame:
    base, points, work = a.tree.graph.xyz[0], a.points, a.work
    if not points or not len(work):
        return _frame("coverage", [])
    height, aside = work.xyz[:, 2] - base[2], np.hypot(*(work.xyz[:, :2] - base[:2]).T)

    def each(values: list[Any]) -> Any:
        """One value a candidate, over all its work points."""
        return np.repeat(np.array(values, object if isinstance(values[0], str) else None), len(work))

    columns = [
        each([k + 1 for k in range(len(points))]),
        each([p.rank if p.usable else 0 for p in points]),
        each([p.label for p in points]),
        each([p.system for p in points]),
        each([p.hardware for p in points]),
        np.tile(np.arange(1, len(work) + 1), len(points)),
        np.tile(np.array(work.label, object), len(points)),
        *(np.tile(place, len(points)) for place in a.tree.frame.to_map(work.xyz).T),
        np.tile(np.array(work.kind, object), len(points)),
        *(np.tile(np.asarray(values, float), len(points)) for values in (work.weight, height, aside)),
        np.degrees(np.concatenate([p.reach.angle for p in points])),
        np.concatenate([p.reach.served for p in points]).astype(bool),
        np.concatenate([p.reach.fouled for p in points]).astype(int),
    ]
    return pandas.DataFrame(dict(zip(columns_of("coverage"), columns, strict=True)))


def _strata(a: Assessment) -> pandas.DataFrame:
    """The crown by height and by distance from the stem, one part a row."""
    rows = [
        (s.height_class, s.distance_class, *s.height, *s.distance, s.points, s.weight, s.by_rope, s.with_walking)
        for s in (a.climb.strata if a.climb else ())
    ]
    return _frame("strata", rows)


def _cuts(a: Assessment) -> pandas.DataFrame:
    """A removal, one cut a row; no row without one."""
    removal, frame, rows = a.asked.removal, a.tree.frame, []
    for s in a.climb.stages if a.climb and removal is not None else ():
        assert removal is not None
        b, life = s.block, [x.margin.p5 for x in s.support]
        rows.append(
            (
                s.number,
                say(s.cut.piece),
                *frame.to_map(s.cut.place(a.tree.graph)),
                s.height,
                s.diameter,
                s.diameter_sd,
                s.length,
                s.mass.median,
                s.mass.p5,
                s.mass.p95,
                *frame.to_map(s.centre),
                s.moment,
                removal.support_at(s.number - 1) or "",
                min(life) if life else math.nan,
                "" if b is None else b.union,
                "" if b is None else b.over,
                math.nan if b is None else b.at_rest / 1000.0,
                math.nan if b is None else b.calm.size / 1000.0,
                math.nan if b is None else b.calm.check.margin.p5,
                math.nan if b is None else b.drop,
                math.nan if b is None or b.stopped is None else b.stopped.size / 1000.0,
                math.nan if b is None or b.stopped is None else b.stopped.check.margin.p5,
                math.nan if s.swing is None else s.swing.sideways,
                math.nan if s.swing is None else s.swing.speed,
                len(s.alarms),
                " ".join(s.lost_unions),
                "; ".join(s.hang),
                *in_a_cell("alarms", s.alarms).values(),
            )
        )
    return _frame("cuts", rows)


MAKERS: dict[str, Callable[[Assessment], pandas.DataFrame]] = {
    "anchors": _anchors,
    "unions": _unions,
    "limbs": _limbs,
    "sections": _sections,
    "throws": _throws,
    "coverage": _coverage,
    "strata": _strata,
    "cuts": _cuts,
}


@for_programs
def methods_bytes(a: Assessment) -> bytes:
    """A paragraph that a paper can take over, with versions and every setting that was changed or not."""
    g, stem = a.tree.graph, a.tree.stem
    tree = text(
        "methods_tree",
        source=w.file_name(a.tree.source),
        origin=", ".join(f"{v:.3f}" for v in a.tree.frame.origin),
        crs=a.tree.frame.crs,
        nodes=len(g),
        limbs=len(g.limbs),
        unions=len(g.unions),
        height=stem.height,
        dbh=stem.dbh,
        dbh_sd=stem.dbh_sd,
    )
    judged = text(
        "methods_judged",
        verdict=a.tree.fitness.verdict,
        species=a.species,
        places=len(a.throws.stances),
        ways=len(a.points),
        work=len(a.work),
        ranked=sum(p.usable for p in a.points),
    )
    made = text(
        "methods_made",
        version=version("treescan"),
        python=platform.python_version(),
        libraries=", ".join(f"{name} {version(name)}" for name in LIBRARIES),
        seed=a.seed,
    )
    lines = [
        text("methods_head"),
        "",
        f"{tree} {judged}",
        "",
        made,
        "",
        text("methods_given"),
        "",
        *(f"- {line}" for line in _stated(a)),
        "",
        text("methods_changed"),
        "",
        *([f"- {name} = {value}" for name, value in _changed(a)] or [f"- {text('list_none')}"]),
        "",
        text("methods_settings"),
        "",
        *(
            f"- {line.name} = {line.value} {line.unit}".rstrip() + f" ({line.source})"
            for line in settings_module.lines(a.settings)
        ),
        "",
        text("methods_sources"),
        "",
        *(f"- {key}: {SOURCES[key].title} ({word(SOURCES[key].standing)})" for key in _cited(a)),
        "",
        text("methods_columns"),
        "",
        *(f"> {caution}" for caution in CAUTIONS.values()),
        "",
    ]
    return "\n".join(lines).encode()


def _stated(a: Assessment) -> list[str]:
    """What the plan was given beside the scan: species, systems, work, site, cuts, and every statement of a person."""
    site = a.site
    drawn = [
        *(text("methods_area", kind=area.kind, name=area.name) for area in site.areas()),
        *(text("methods_conductor", name=c.name, volts=c.voltage) for c in site.conductors),
        *(text("methods_place", name=name) for name, _ in (*site.anchors, *site.bases)),
    ]
    removal = a.asked.removal
    return [
        text("methods_scan", source=w.file_name(a.tree.source)),
        text("methods_species", species=a.asked.species),
        text("methods_systems", systems=", ".join(a.asked.systems)),
        text("methods_work", n=len(a.work), kinds=", ".join(word(k) for k in sorted(set(a.work.kind)))),
        *drawn,
        *([] if removal is None else [text("methods_cuts", n=len(removal.cuts))]),
        *(say(s) for s in a.statements),
        text("methods_files"),
    ]


def _changed(a: Assessment) -> list[tuple[str, Any]]:
    """Settings that differ from those treescan comes with."""
    usual = {line.name: line.value for line in settings_module.lines(Settings())}
    return [(line.name, line.value) for line in settings_module.lines(a.asked.as_given) if line.value != usual[line.name]]


def _cited(a: Assessment) -> list[str]:
    """Keys of the sources of every setting and every column."""
    keys = {line.source for line in settings_module.lines(a.settings)}
    keys |= {key for c in CODEBOOK for key in c.source.split("; ")}
    return sorted(key for key in keys if key in SOURCES)
