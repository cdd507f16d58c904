"""What is said of the job itself: fields of the settings file, of the tree's record in an inventory, of the command line."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from treescan.assess import Settings
from treescan.errors import BadInput
from treescan.outputs.gis.inventory import read_inventory
from treescan.settings import merged

USUAL = {
    "client": ("client", "customer", "owner"),
    "site": ("site", "location", "address", "street"),
    "scan_date": ("scan_date", "scanned", "date_scanned"),
    "scope": ("scope", "works", "work"),
}
"""Names that are tried in a record, in this order and in any case."""


def with_job(settings: Settings, given: Mapping[str, str | bool], record: Path | None) -> Settings:
    """The settings with the fields of the job: the command line over the record over the settings file.

    Parameters
    ----------
    given : mapping         Fields of `JobSettings` that the command line names.
    record : Path or None   Inventory with a record of the tree; needs the tree's number.
    """
    if record is not None:
        number = str(given.get("tree", settings.job.tree))
        settings = merged(settings, {"job": read_record(record, number)}, file=str(record))
    return merged(settings, {"job": dict(given)}, file="the command line") if given else settings


def read_record(path: Path, number: str) -> dict[str, str]:
    """The fields that the record of one tree holds; BadInput where there is not just one such record."""
    if not number:
        raise BadInput("--record needs the number of the tree", remedy="give it with --tree-number")
    frame = read_inventory(path)
    rows = frame[frame["inv_id"].astype(str).str.strip() == number.strip()]
    if len(rows) != 1:
        raise BadInput(f"holds {len(rows)} records of tree '{number}'", file=str(path), remedy="give the number as it stands there")
    names = {str(column).lower(): column for column in frame.columns}
    out = {"tree": number}
    for field, usual in USUAL.items():
        found = next((names[name] for name in usual if name in names), None)
        value = "" if found is None or rows[found].isna().any() else str(rows[found].iloc[0]).strip()
        if value:
            out[field] = value
    return out
