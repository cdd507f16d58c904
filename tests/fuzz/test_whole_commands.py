"""Whole commands on mutated inputs: done, or refused in one sentence; 20,000 seeds by hand, a few hundred here."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.slow
def test_whole_commands_on_odd_files():
    """No traceback, no crash, none over 20 s or 1 GB, no input changed, nothing half-written left."""
    call = [sys.executable, str(Path(__file__).with_name("whole_commands.py")), os.environ.get("TREESCAN_FUZZ_RUNS", "600")]
    done = subprocess.run(call, capture_output=True, text=True, check=False, env=os.environ | {"PYTHONPATH": str(ROOT)})

    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]
    assert "plan done" in done.stdout and "join done" in done.stdout and "trace done" in done.stdout
