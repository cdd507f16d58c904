"""How does an inspection read? One fact a line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from treescan.cloud.inspect import Inspection
from treescan.outputs.data.reason_data import all_with_data, with_data
from treescan.reason import Reason

LAST_CLASS = 18
"""Highest class with a name of its own (ASPRS LAS 1.4 R15, table 17)."""
LONGEST_NAME = 40
"""Longer texts of a reference system are whole definitions, not names."""
MOST_OF_A_TEXT = 80
"""Letters told of a reference that is not understood."""


def inspection_lines(found: Inspection) -> tuple[Reason, ...]:
    """The inspection, one line each, notes last."""
    return (
        Reason("inspect_file", file=found.file),
        Reason("inspect_format", format=found.format, version=found.version, program=found.written_by),
        Reason(
            "inspect_points", kept=found.points_kept, read=found.points_in_file, left_out=_left_out(found)
        ),
        *(
            Reason("inspect_axis", axis=axis, low=a, high=b)
            for axis, a, b in zip("xyz", found.low, found.high, strict=True)
        ),
        Reason(
            "inspect_size", **{axis: b - a for axis, a, b in zip("xyz", found.low, found.high, strict=True)}
        ),
        _unit(found),
        _map(found),
        Reason(
            "inspect_density",
            density=found.density,
            spacing=found.spacing,
            measured=found.spacing is not None,
        ),
        Reason("inspect_columns", columns=found.columns, any=bool(found.columns)),
        *_more(found),
        *(Reason("inspect_note", note=note) for note in found.notes),
    )


def inspection_data(found: Inspection) -> dict[str, Any]:
    """The inspection as strict JSON: its figures, and every finding as a sentence and, beside it, as code and
    values."""
    plain = found.as_dict()
    for name in ("version", "unit", "vertical_unit"):
        plain |= with_data(name, getattr(found, name))
    return plain | all_with_data("notes", found.notes)


def _left_out(found: Inspection) -> tuple[Reason, ...]:
    return tuple(Reason("inspect_left_out", n=n, why=why) for why, n in found.left_out.items())


def _unit(found: Inspection) -> Reason:
    heights = found.vertical_unit if found.vertical_unit != found.unit else None
    converted = found.unit != Reason("unit_metres") or heights is not None
    return Reason("inspect_unit", unit=found.unit, heights=heights, converted=converted)


def _map(found: Inspection) -> Reason:
    """The reference system, by name and number where it has them."""
    if found.crs is None:
        return Reason("inspect_map_unknown", said=found.file_crs[:MOST_OF_A_TEXT] if found.file_crs else None)
    label = found.crs if len(found.crs) < LONGEST_NAME else Reason("own_definition")
    own: str | Reason | None = found.file_crs
    if found.file_crs and len(found.file_crs) >= LONGEST_NAME:
        own = Reason("another_unit_of_the_map")
    return Reason("inspect_map", name=found.crs_name, crs=label, own=own)


def _more(found: Inspection) -> Iterator[Reason]:
    """Classes and scans, where there are any."""
    if found.classes:
        names = {c: f"class_{c}" if c <= LAST_CLASS else "class_own" for c in found.classes}
        yield Reason(
            "inspect_classes",
            classes=tuple(
                Reason("inspect_class", number=c, name=names[c], n=n) for c, n in found.classes.items()
            ),
        )
    if found.scans > 1:
        yield Reason("inspect_scans", n=found.scans, placed=found.scanners or None)
