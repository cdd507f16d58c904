"""Which settings does the user's file put over the defaults?"""

from __future__ import annotations

from pathlib import Path

from treescan.assess import Settings
from treescan.settings import merged
from treescan.toml_file import toml_content


def read_settings(path: Path | None, climber_mass: float | None = None) -> Settings:
    """The defaults with a TOML file and the command line put over them."""
    settings = Settings()
    if path is not None:
        settings = merged(settings, toml_content(path), file=str(path))
    if climber_mass is not None:
        settings = merged(settings, {"loads": {"climber_mass": climber_mass}}, file="--climber-mass")
    return settings
