"""How far is the work? A bar on a terminal, JSON lines for programs, silence otherwise; and a stop watch for
every stage."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from treescan.faces.guard.last_net import NOTE


class Reporter:
    """A `Progress` that also keeps each stage's wall time; the room only says the stage's name and its share
    done."""

    def __init__(self, draw: object | None = None, as_json: bool = False) -> None:
        self.timings: dict[str, float] = {}
        self._draw, self._as_json = draw, as_json
        self._stage, self._since = "", time.perf_counter()
        self._task: int | None = None
        self._told = -1

    def __call__(self, stage: str, share: float) -> None:
        """Note the stage and its share done, in [0, 1]."""
        if stage != self._stage:
            self.close()
            self._stage, self._since, self._told = stage, time.perf_counter(), -1
            if self._draw is not None:
                self._task = self._draw.add_task(stage, total=1.0)  # type: ignore[attr-defined]
        if self._draw is not None and self._task is not None:
            self._draw.update(self._task, completed=share)  # type: ignore[attr-defined]
        tenth = int(share * 10)
        if self._as_json and tenth != self._told:
            self._told = tenth
            print(json.dumps({"progress": {"stage": stage, "share": round(float(share), 3)}}), flush=True)

    @contextmanager
    def paused(self) -> Iterator[None]:
        """The bar off the screen meanwhile, for words to a person."""
        if self._draw is not None:
            self._draw.stop()  # type: ignore[attr-defined]
        yield
        if self._draw is not None:
            self._draw.start()  # type: ignore[attr-defined]

    @property
    def stage(self) -> str:
        """The running stage, or ""."""
        return self._stage

    def close(self) -> None:
        """End the running stage."""
        if self._stage:
            self.timings[self._stage] = self.timings.get(self._stage, 0.0) + time.perf_counter() - self._since
            if self._draw is not None and self._task is not None:
                self._draw.update(self._task, completed=1.0)  # type: ignore[attr-defined]
        self._stage = ""


@contextmanager
def _noting(report: Reporter) -> Iterator[None]:
    """A fault on its way out is given the stage it came in."""
    try:
        yield
    except Exception as err:
        err.add_note(NOTE + (report.stage or "reading"))
        raise


@contextmanager
def reporter(quiet: bool, as_json: bool) -> Iterator[Reporter]:
    """A reporter for one command; the bar shows only on a terminal."""
    if quiet or as_json or not sys.stderr.isatty():
        report = Reporter(as_json=as_json and not quiet)
        with _noting(report):
            yield report
        report.close()
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("{task.description:<32}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=Console(stderr=True)) as bar:
        report = Reporter(bar)
        with _noting(report):
            yield report
        report.close()
