"""What happened when, on disk and on the screen: counts, rate, time left, and the page of the cluster."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

from treescan.faces.city.dask_run import Pace
from treescan.outputs.city.city_rows import CityTree
from treescan.outputs.text.say import text

EVERY = 5.0
"""Least time between two lines on the screen. [s]"""


class Journal:
    """journal.jsonl: one event a line, never read by the run itself; what stands is told by the files alone."""

    def __init__(self, path: Path, quiet: bool, as_json: bool) -> None:
        self._quiet, self._as_json, self._told = quiet, as_json, 0.0
        self._file = path.open("a", encoding="utf-8")

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, err: BaseException | None, trace: TracebackType | None
    ) -> None:
        if err is not None:
            self._note(event="stopped", why=type(err).__name__)
        self._file.close()

    def begun(self, page: str, workers: int, memory: int) -> None:
        """The cluster stands."""
        self._note(event="begun", page=page, workers=workers, memory=memory)
        self._say(text("batch_begun", workers=workers, memory=memory / 1e9, page=page))

    def task(self, kind: str, name: str, well: bool, pace: Pace) -> None:
        """One task ended."""
        self._note(event="task", kind=kind, name=name, well=well)
        now = time.monotonic()
        if now - self._told < EVERY and pace.done < pace.whole:
            return
        self._told = now
        rate, left = pace.an_hour, pace.minutes_left
        if self._as_json and not self._quiet:
            told = {
                "stage": kind,
                "done": pace.done,
                "whole": pace.whole,
                "failed": pace.failed,
                "an_hour": round(rate, 1),
            }
            print(json.dumps({"progress": told | {"minutes_left": round(left, 1)}}), flush=True)
        what = text("batch_stage", what=kind)
        self._say(
            text(
                "batch_progress",
                what=what,
                done=pace.done,
                whole=pace.whole,
                failed=pace.failed,
                rate=rate,
                left=left,
            )
        )

    def ended(self, trees: Sequence[CityTree]) -> None:
        """The run is done."""
        self._note(event="ended", trees=len(trees))

    def _note(self, **event: Any) -> None:
        self._file.write(json.dumps({"at": round(time.time(), 1), **event}) + "\n")
        self._file.flush()

    def _say(self, line: str) -> None:
        if not self._quiet and not self._as_json:
            print(line, file=sys.stderr, flush=True)
