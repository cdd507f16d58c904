"""tables/: tidy tables for a study, one thing a row, with a codebook and a methods paragraph; CSV and Parquet alike."""

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
from treescan.assess import Assessment
from treescan.cautions import CAUTIONS, all_cautions
from treescan.outputs.data.anchors_file import anchor_rows
from treescan.outputs.data.codebook import CODEBOOK, source_of
from treescan.outputs.shapes.cached import cached
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import say, word

KINDS = ("anchors", "unions", "limbs", "sections", "throws", "coverage")
TABLES = (*(f"{kind}.{ending}" for kind in KINDS for ending in ("csv", "parquet")), "codebook.csv")
COORDINATES = ("x", "y", "z", "stand_x", "stand_y", "stand_z")
"""Columns in map coordinates, kept to 0.1 mm; every other number keeps six significant digits."""
LIBRARIES = ("numpy", "scipy", "numba", "networkx", "trimesh")


def table_bytes(a: Assessment, name: str) -> bytes | None:
    """One table as the bytes of its file; None for a table without rows."""
    kind, ending = name.rsplit(".", 1)
    frame = codebook() if kind == "codebook" else _shared(a, kind)
    if frame.empty:
        return None
    if ending == "csv":
        return frame.to_csv(index=False, lineterminator="\n").encode()
    out = io.BytesIO()
    notes = {"cautions": json.dumps(all_cautions(), ensure_ascii=False), "codebook": json.dumps(_explained(kind), ensure_ascii=False)}
    arrow = pyarrow.Table.from_pandas(frame, preserve_index=False)
    parquet.write_table(arrow.replace_schema_metadata({**(arrow.schema.metadata or {}), **notes}), out)
    return out.getvalue()


def table(a: Assessment, kind: str) -> pandas.DataFrame:
    """One table; every column stands in the codebook, the last holds the standing caution in its first row."""
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
    return {c: {"unit": unit, "meaning": words, "source": source_of(k, c)} for (k, c), (unit, words) in CODEBOOK.items() if k == kind}


def codebook() -> pandas.DataFrame:
    """Every column of every table: name, unit, meaning, source; and every caution."""
    rows = [(table_, column, unit, meaning, source_of(table_, column)) for (table_, column), (unit, meaning) in CODEBOOK.items()]
    rows += [(kind, "caution", "", CAUTIONS["planning_aid"], "") for kind in KINDS]
    rows += [("every table", "", "", caution, "") for caution in all_cautions()]
    return pandas.DataFrame(rows, columns=["table", "column", "unit", "meaning", "source"])


def _frame(kind: str, rows: list[tuple[Any, ...]]) -> pandas.DataFrame:
    """Rows as a table with the codebook's columns."""
    return pandas.DataFrame(rows, columns=[c for k, c in CODEBOOK if k == kind])


def _anchors(a: Assessment) -> pandas.DataFrame:
    """The columns of anchors.csv; rank 0 stands for "not ranked", as in the other tables."""
    columns = [c for k, c in CODEBOOK if k == "anchors"]
    rows = [dict(zip(columns, (0 if c == "rank" and v is None else v for c, v in zip(columns, r, strict=True)), strict=True)) for r in anchor_rows(a)]
    frame = pandas.DataFrame(rows, columns=columns)
    return frame.astype({c: float for c in columns if frame[c].dtype == object and all(isinstance(v, (int, float, type(None))) for v in frame[c])})


def _unions(a: Assessment) -> pandas.DataFrame:
    u, rows = a.tree.graph.unions, []
    at = a.tree.frame.to_map(u.place)
    for k, label in enumerate(u.label):
        for i in range(int(u.arm_start[k]), int(u.arm_start[k + 1])):
            rows.append(
                (
                    label,
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
            what = (told.get("fit_for", ""), told.get("measured", math.nan), say(told["rescan"]) if told.get("rescan") else "")
            rows.append((k, int(g.limbs.parent[k]), int(g.limbs.order[k]), len(nodes), length.sum(), 2 * r[0], 2 * r[-1], volume, seen, *what))
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
    labels, rows = a.tree.graph.unions.label, []
    for (k, c), t in sorted(a.throws.best.items()):
        stand = a.tree.frame.to_map(t.stand)
        rows.append(
            (
                labels[k],
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
        each([p.rank if p.usable else 0 for p in points]),
        each([p.label for p in points]),
        each([p.system for p in points]),
        each([p.hardware for p in points]),
        *(np.tile(np.array(texts, object), len(points)) for texts in (work.label, work.kind)),
        *(np.tile(np.asarray(values, float), len(points)) for values in (work.weight, height, aside)),
        np.degrees(np.concatenate([p.reach.angle for p in points])),
        np.concatenate([p.reach.served for p in points]).astype(bool),
        np.concatenate([p.reach.fouled for p in points]).astype(int),
    ]
    return pandas.DataFrame(dict(zip((c for k, c in CODEBOOK if k == "coverage"), columns, strict=True)))


MAKERS: dict[str, Callable[[Assessment], pandas.DataFrame]] = {
    "anchors": _anchors,
    "unions": _unions,
    "limbs": _limbs,
    "sections": _sections,
    "throws": _throws,
    "coverage": _coverage,
}


def methods_bytes(a: Assessment) -> bytes:
    """A paragraph that a paper can take over, with versions and every setting that was changed or not."""
    g, s = a.tree.graph, a.tree.stem
    usable = sum(p.usable for p in a.points)
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    text = [
        "# Methods",
        "",
        f"The scan {w.file_name(a.tree.source)} was read into local metres (origin {', '.join(f'{v:.3f}' for v in a.tree.frame.origin)}; "
        f"coordinate system {a.tree.frame.crs or 'unknown'}). One tree was traced to a rooted graph of {len(g)} nodes, "
        f"{len(g.limbs)} limbs and {len(g.unions)} unions; height {w.plain(s.height, 2, 'm')}, diameter at breast height "
        f"{w.plain(s.dbh, 3, 'm')} (standard deviation {w.plain(s.dbh_sd, 4, 'm')}). The scan was judged "
        f"{a.tree.fitness.verdict}. "
        f"Species as used: {a.species}. Throwline throws were judged from {len(a.throws.stances)} standing places. "
        f"{len(a.points)} ways to rig the unions were judged against {len(a.work)} work points; {usable} were ranked. "
        "Margins are strength over stress with their 5th percentile; chances are for one throw at the best aim with dispersion.",
        "",
        f"Computed with treescan {version('treescan')} under Python {platform.python_version()} ({libraries}); random draws with seed {a.seed}.",
        "",
        "Settings:",
        "",
        *(f"- {line.name} = {line.value} {line.unit}".rstrip() + f" ({line.source})" for line in settings_module.lines(a.settings)),
        "",
        "Columns of the tables: codebook.csv. NaN or an empty cell means not seen or does not apply; it is never a zero.",
        "",
        *(f"> {text_}" for text_ in CAUTIONS.values()),
        "",
    ]
    return "\n".join(text).encode()
