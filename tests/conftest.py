"""What tests of all rooms share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def real_scans() -> Path:
    """The folder of real scans; they are not part of the repository, so tests that want them are skipped elsewhere."""
    beside = Path(__file__).resolve().parents[2] / "shared" / "real_scans"
    folder = Path(os.environ.get("TREESCAN_REAL_SCANS", beside))
    if not folder.is_dir():
        pytest.skip(f"no real scans at {folder} (set TREESCAN_REAL_SCANS)")
    return folder
