"""How do many scores read as tables?"""

from __future__ import annotations

import numpy as np

from second_bench.scoring import CLASSES, Score, class_figures


def _percent(x, digits=1):
    return "" if x is None else f"{100 * x:+.{digits}f}"


def _share(x):
    return "" if x is None else f"{100 * x:.0f}"


def _three(f):
    """Bias, RMSE and cover of a class in one cell."""
    return "" if f is None else f"{_percent(f['bias'])} / {_share(f['rmse'])} / {_share(f['cover'])}"


def _f1(rows, n):
    right, missed, false = (sum(r[f"{k}_{n}"] for r in rows) for k in ("right", "missed", "false"))
    return "" if not right + missed + false else f"{2 * right / (2 * right + missed + false):.3f}"


def _pooled(scores, what):
    parts = [getattr(s, what) for s in scores]
    return np.vstack(parts) if parts else np.zeros((0, 6))


def _lines(head, rows):
    return [
        "| " + " | ".join(head) + " |",
        "|" + "---|" * len(head),
        *("| " + " | ".join(str(c) for c in r) + " |" for r in rows),
        "",
    ]


def _by(scores, key):
    out: dict[str, list[Score]] = {}
    for s in scores:
        out.setdefault(s.row[key], []).append(s)
    return dict(sorted(out.items()))


def unions_table(scores, key):
    """F1 and places by a column of the rows."""
    rows = []
    for name, group in _by(scores, key).items():
        u = _pooled(group, "unions")
        crotch = u[np.isfinite(u[:, 2]), 2]
        rows.append(
            (
                name,
                len(group),
                _f1([s.row for s in group], "5"),
                _f1([s.row for s in group], "10"),
                sum(s.row["missed_5"] for s in group),
                sum(s.row["unseen_5"] for s in group),
                sum(s.row["false_5"] for s in group),
                ""
                if not len(u)
                else f"{100 * np.median(u[:, 1]):.1f} / {100 * np.percentile(u[:, 1], 95):.0f}",
                ""
                if not len(crotch)
                else f"{100 * np.median(crotch):.1f} / {100 * np.percentile(crotch, 95):.0f}",
            )
        )
    return _lines(
        (
            key,
            "scans",
            "F1 >= 5 cm",
            "F1 >= 10 cm",
            "missed",
            "of them hardly hit",
            "false",
            "axes' place off, median / 95 % [cm]",
            "crotch off, median / 95 % [cm]",
        ),
        rows,
    )


def diameters_table(scores, key):
    """Bias, RMSE and cover by class of diameter, of the scans called assessable."""
    rows = []
    for name, group in _by([s for s in scores if s.row["verdict"] == "assessable"], key).items():
        d = _pooled(group, "diameters")
        cells = []
        for low, high in CLASSES:
            f = class_figures(d, low, high)
            cells.append(_three(f) + (f" ({f['metres']:.0f} m)" if f else ""))
        cells.append(_three(class_figures(d, 0.10, 9.0, plain=0)))
        rows.append((name, len(group), *cells))
    return _lines(
        (
            key,
            "scans",
            "3-5 cm",
            "5-10 cm",
            "10-20 cm",
            "20-40 cm",
            "> 40 cm",
            "flared or at unions, > 10 cm",
        ),
        rows,
    )


def scans_table(scores):
    """One line a scan."""
    rows = []
    for s in scores:
        r = s.row
        f = [("" if r.get(k) is None else f"{r[k]:.2f}") for k in ("f1_5", "f1_10")]
        rows.append(
            (
                r["name"],
                r["scene"],
                r["verdict"],
                *f,
                _percent(r["bias_5"]),
                _percent(r["bias_10"]),
                _share(r["cover_5"]),
                _share(r["cover_10"]),
                _percent(r.get("dbh_off")),
                f"{r['stems_told']}/{r['stems_true']}",
                "" if r.get("top_off") is None else f"{r['top_off']:+.2f}",
                f"{r['false_m']:.1f}",
                _share(r.get("followed_10")),
                "" if not r["wire_m"] else f"{r['wire_found_m']:.0f}/{r['wire_m']:.0f}",
                r["limb_as_wire"],
                r["limb_as_built"],
                r["other_as_wire"],
                f"{r['seconds']:.0f}",
            )
        )
    return _lines(
        (
            "scan",
            "scene",
            "verdict",
            "F1 5",
            "F1 10",
            "bias 5-10 %",
            "bias > 10 %",
            "cover 5-10",
            "cover > 10",
            "dbh off %",
            "stems",
            "top off m",
            "false wood m",
            "followed > 10 cm %",
            "wire found m",
            "limb cells as wire",
            "as built",
            "other as wire",
            "trace s",
        ),
        rows,
    )


def whole_table(scores: list[Score], failed: list[tuple[str, str]]) -> str:
    """All tables of a run as markdown."""
    clean = [s for s in scores if s.row["group"] == "tripod, two and more, bare"]
    wires = [s for s in scores if s.row["wire_m"] > 0]
    without = [s for s in scores if not s.row["true_wires"]]
    found, length = sum(s.row["wire_found_m"] for s in wires), sum(s.row["wire_m"] for s in wires)
    called = sum(s.row["limb_as_wire"] > 0 for s in without)
    lines = [
        "### Unions by class of scan",
        "",
        *unions_table(scores, "group"),
        "### Unions by form (tripod, two and more positions, bare)",
        "",
        *unions_table(clean, "form"),
        "### Diameters of wood claimed, scans called assessable: bias % / RMSE % / inside 90 % interval %",
        "",
        *diameters_table(scores, "group"),
        "The same by form (tripod, two and more positions, bare):",
        "",
        *diameters_table(clean, "form"),
        "### Wires",
        "",
        f"True wire of 5 m and more that the scan hit: {found:.0f} of {length:.0f} m found "
        f"in {len(wires)} scans. "
        f"Scans without any wire: {len(without)}; with limbs called wires: {called}.",
        "",
        "### Scans",
        "",
        *scans_table(scores),
    ]
    if failed:
        lines += ["### Runs that failed", "", *_lines(("scan", "error"), failed)]
    return "\n".join(lines)
