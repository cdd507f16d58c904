"""Which units and words does the reader want first? Figures that life depends on are printed in both systems whatever is set."""

from __future__ import annotations

from dataclasses import dataclass

from treescan.settings import setting


@dataclass(frozen=True)
class ReaderSettings:
    """How report, job sheet and figures are written; the data files stay in metres, kilonewtons and degrees."""

    units: str = setting("metric", "", "system that stands first in the text", "project_choice", choices=("metric", "imperial"))
    words: str = setting("UK", "", "spelling and trade words; the cautions are printed as they are", "project_choice", choices=("UK", "US"))
    language: str = setting("en", "", "language of the text; what a language lacks is said in English", "project_choice", choices=("en", "de"))
