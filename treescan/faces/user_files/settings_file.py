"""Which settings does the user's file put over the defaults?"""

from __future__ import annotations

import tomllib
from pathlib import Path

from treescan.assess import Settings
from treescan.errors import BadInput
from treescan.settings import merged


def read_settings(path: Path | None, climber_mass: float | None = None) -> Settings:
    """The defaults with a TOML file and the command line put over them."""
    settings = Settings()
    if path is not None:
        try:
            changes = tomllib.loads(path.read_text(encoding="utf-8"))
        except OSError as err:
            raise BadInput(f"cannot be read ({err.strerror})", file=str(path)) from err
        except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as err:
            raise BadInput(f"is not valid TOML ({err})", file=str(path)) from err
        settings = merged(settings, changes, file=str(path))
    if climber_mass is not None:
        settings = merged(settings, {"loads": {"climber_mass": climber_mass}}, file="--climber-mass")
    return settings
