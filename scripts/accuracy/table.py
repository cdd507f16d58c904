"""The accuracy table: tallies of many cases added up, one line a figure, one column a group of scans."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from accuracy.compare import CLASSES, UNION_SIZES, Comparison


def figures(found: Sequence[Comparison]) -> dict[str, float]:
    """Every figure of one group of cases by name."""
    out: dict[str, float] = {"trees": len(found), "called assessable: number": sum(c.assessable for c in found)}
    for size in UNION_SIZES:
        rows = [c.unions[size] for c in found]
        true, hit, claimed, right = (sum(r[i] for r in rows) for i in range(4))
        recall, precision = hit / max(true, 1), right / max(claimed, 1)
        name = f"unions >= {100 * size:.0f} cm"
        out[f"{name}: number"] = true
        if true:
            out[f"{name}: recall"] = recall
        if claimed:
            out[f"{name}: precision"] = precision
        if true and claimed:
            out[f"{name}: F1"] = 2 * recall * precision / max(recall + precision, 1e-9)
        error = np.concatenate([r[4] for r in rows]) if rows else np.zeros(0)
        share = np.concatenate([r[5] for r in rows]) if rows else np.zeros(0)
        if len(error):
            out[f"{name}: position median [cm]"] = 100 * float(np.median(error))
            out[f"{name}: position 95 % over parent diameter"] = float(np.quantile(share, 0.95))
    for low, high in CLASSES:
        e = np.concatenate([c.diameters[low][0] for c in found])
        held = np.concatenate([c.diameters[low][1] for c in found])
        true, matched, claimed = (sum(c.diameters[low][i] for c in found) for i in (2, 3, 4))
        if true <= 0:
            continue
        name = f"diameter {100 * low:.0f}-{100 * high:.0f} cm" if high < 5 else f"diameter > {100 * low:.0f} cm"
        out[f"{name}: found [%]"] = 100 * matched / true
        out[f"{name}: diameter claimed [%]"] = 100 * claimed / true
        if not len(e):
            continue
        out[f"{name}: bias [%]"] = 100 * float(np.mean(e))
        out[f"{name}: RMSE [%]"] = 100 * float(np.sqrt(np.mean(e**2)))
        out[f"{name}: 90 % interval holds [%]"] = 100 * float(np.mean(held))
    out["wrong parent, wood >= 10 cm [%]"] = 100 * sum(c.wrong_parent for c in found) / max(sum(c.carried for c in found), 1e-9)
    out["false wood >= 5 cm [%]"] = 100 * sum(c.false_wood for c in found) / max(sum(c.wood for c in found), 1e-9)
    for name, values in (
        ("dbh error [mm]", [1000 * c.dbh_error for c in found]),
        ("height error [cm]", [100 * c.height_error for c in found]),
        ("volume error [%]", [100 * c.volume_error for c in found]),
    ):
        a = np.abs(np.array(values))
        a = a[np.isfinite(a)]
        out[f"{name}: median of size"] = float(np.median(a)) if len(a) else float("nan")
        out[f"{name}: largest"] = float(a.max()) if len(a) else float("nan")
    return out


def as_text(columns: dict[str, dict[str, float]]) -> str:
    """One Markdown table."""
    names = list(dict.fromkeys(n for c in columns.values() for n in c))
    lines = ["| figure | " + " | ".join(columns) + " |", "|---|" + "---|" * len(columns)]
    for n in names:
        cells = [("" if n not in c else f"{c[n]:.0f}" if n == "trees" or "number" in n else f"{c[n]:.3f}" if ": recall" in n or "F1" in n or "precision" in n else f"{c[n]:.2f}") for c in columns.values()]
        lines.append(f"| {n} | " + " | ".join(cells) + " |")
    return "\n".join(lines)
