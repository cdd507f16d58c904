"""Which units and words does the reader want first, and for which job is written? Figures that life depends on are printed in both systems whatever is set."""

from __future__ import annotations

from dataclasses import dataclass

from treescan.settings import setting


@dataclass(frozen=True)
class ReaderSettings:
    """How report, job sheet and figures are written; the data files stay in metres, kilonewtons and degrees."""

    units: str = setting("metric", "", "system that stands first in the text", "project_choice", choices=("metric", "imperial"))
    words: str = setting("UK", "", "spelling and trade words; the cautions are printed as they are", "project_choice", choices=("UK", "US"))
    language: str = setting("en", "", "language of the text; what a language lacks is said in English", "project_choice", choices=("en", "de"))


@dataclass(frozen=True)
class JobSettings:
    """What the job sheet and the report say of the job itself; "" = not known, left blank to be filled in by hand."""

    client: str = setting("", "", "for whom the work is done", "project_choice")
    site: str = setting("", "", "where the tree stands", "project_choice")
    tree: str = setting("", "", "number of the tree in the inventory or on its tag", "project_choice")
    scan_date: str = setting("", "", "day of the scan, as it is to be printed", "project_choice")
    planner: str = setting("", "", "who made the plan", "project_choice")
    scope: str = setting("", "", "the work asked for, in words", "project_choice")
    dossier: bool = setting(False, "", "a full dossier beside the job sheet: every page of it", "project_choice")
