"""How do figures stand in a file? Angles in degrees, what is not known as null."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from treescan.arrays import Floats
from treescan.errors import BadInput
from treescan.ordinary_file import check_ordinary

DECIMALS = 9
"""Of an angle in degrees: enough for any use, and the same after any number of round trips."""


def degrees(angle: ArrayLike) -> Floats:
    """Radians as degrees, rounded to `DECIMALS`."""
    return np.asarray(np.round(np.degrees(angle), DECIMALS), np.float64)


def or_null(x: float) -> float | None:
    """A figure, or null where it is not known."""
    return x if np.isfinite(x) else None


def number(x: Any) -> float:
    """A figure, NaN for null."""
    return float("nan") if x is None else float(x)


def read_json(path: Path, needed_by: Path | None = None) -> Any:
    """The content of a JSON file; BadInput where it cannot be read."""
    check_ordinary(path)
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as err:
        remedy = f"{needed_by} needs it; keep them together" if needed_by else None
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path), remedy=remedy) from err
    except RecursionError as err:
        raise BadInput("is nested too deeply", file=str(path), remedy="write or export it again") from err
    except ValueError as err:
        raise BadInput(f"is not valid JSON ({err})", file=str(path)) from err
