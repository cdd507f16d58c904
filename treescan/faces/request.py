"""What was asked for on the command line?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class TreeRequest:
    """Which tree: the cloud or tree.json, the place in it, a unit that overrules the file's, and the settings file."""

    cloud: str
    at: str | None = None
    unit: str | None = None
    settings: Path | None = None


@dataclass(frozen=True)
class PlanRequest:
    """What `treescan plan` was asked for, as the options say it."""

    tree: TreeRequest
    output: Path
    species: str | None
    climber_mass: float | None
    systems: tuple[str, ...]
    work: Path | None
    site: Path | None
    seed: int
    jobs: int | None
