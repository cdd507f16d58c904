"""One browser for the tests of a file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from chromium import CHROMIUM, FLAGS


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as p:
        b = p.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield b
        b.close()
