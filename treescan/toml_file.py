"""What does a TOML file hold? Or one sentence why it cannot be read."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from treescan.errors import BadInput
from treescan.ordinary_file import check_ordinary


def toml_content(path: Path) -> dict[str, Any]:
    """Content of a TOML file; BadInput where it cannot be read or is none."""
    check_ordinary(path)
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as err:
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path)) from err
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as err:
        raise BadInput(f"is not valid TOML ({err})", file=str(path)) from err
