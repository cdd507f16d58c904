"""What was asked for on the command line?"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path


@dataclass(frozen=True)
class TreeRequest:
    """Which tree: the cloud or tree.json, the place in it, a unit that overrules the file's, the settings
    file, further scans of the tree."""

    cloud: str
    at: str | None = None
    unit: str | None = None
    settings: Path | None = None
    also: tuple[str, ...] = ()

    def files(self) -> tuple[Path, ...]:
        """Every file that is read for the tree."""
        named = (Path(self.cloud), *(Path(p) for p in self.also), self.settings)
        return tuple(p for p in named if p is not None)


@dataclass(frozen=True)
class JobFields:
    """What the job sheet is to say of the job, as given on the command line; None = not given there."""

    client: str | None = None
    site: str | None = None
    tree: str | None = None
    scan_date: str | None = None
    planner: str | None = None
    scope: str | None = None
    dossier: bool = False

    def given(self) -> dict[str, str | bool]:
        """Those that were given, by the names of the settings [job]."""
        out: dict[str, str | bool] = {name: v for name, v in asdict(self).items() if isinstance(v, str)}
        return out | ({"dossier": True} if self.dossier else {})


@dataclass(frozen=True)
class PlanRequest:
    """What `treescan plan` was asked for, as the options say it."""

    tree: TreeRequest
    output: Path
    species: str | None
    climber_mass: float | None
    systems: tuple[str, ...]
    work: tuple[str, ...]
    site: Path | None
    seed: int
    jobs: int | None
    cuts: Path | None = None
    overrides: Path | None = None
    replace: bool = False
    job: JobFields = JobFields()
    record: Path | None = None
    wires: str | None = None
    session: Path | None = None

    def files(self) -> tuple[Path, ...]:
        """Every file that was read besides the cloud."""
        named = (
            *(Path(p) for p in self.tree.also),
            *(Path(w) for w in self.work if Path(w).is_file()),
            self.site,
            self.cuts,
            self.overrides,
            self.record,
            self.session,
            self.tree.settings,
        )
        return tuple(p for p in named if p is not None)
