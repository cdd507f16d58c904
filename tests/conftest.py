"""What tests of all rooms share."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium import CHROMIUM, FLAGS
from hypothesis import settings

settings.register_profile("untimed", deadline=None)  # a busy machine is no failure
settings.load_profile("untimed")


@pytest.fixture(scope="session")
def real_scans() -> Path:
    """The folder of real scans; they are not part of the repository, so tests that want them are skipped elsewhere."""
    beside = Path(__file__).resolve().parents[2] / "shared" / "real_scans"
    folder = Path(os.environ.get("TREESCAN_REAL_SCANS", beside))
    if not folder.is_dir():
        pytest.skip(f"no real scans at {folder} (set TREESCAN_REAL_SCANS)")
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser for the tests of a file."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as p:
        b = p.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield b
        b.close()
