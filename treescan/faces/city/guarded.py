"""One task that may fail, hang or take its process along: whatever happens, the run learns of it and goes on."""

from __future__ import annotations

import errno
import faulthandler
import gc
import json
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from treescan.atomic import whole_file
from treescan.errors import BadInput, TreescanError
from treescan.faces.guard.last_net import told
from treescan.outputs.data.reason_data import as_data
from treescan.outputs.text.say import say
from treescan.reason import Reason, from_plain

MOST_DEATHS = 3
"""Processes that one task may take along before it is given up."""
NEARLY = 0.95
"""A process that died after this part of the time limit died of it."""
FULL = (errno.ENOSPC, errno.EDQUOT)


@dataclass(frozen=True)
class Desk:
    """Where tasks note what they do: a folder all workers see, the run's own number, and the time limit [s]."""

    folder: str
    run: str
    limit: float

    @property
    def path(self) -> Path:
        """The folder."""
        return Path(self.folder)

    def started(self, task: str) -> Path:
        """Note of a task that runs, or whose process died."""
        return self.path / "started" / f"{task}.json"

    def failed(self, task: str) -> Path:
        """Note of a task that failed."""
        return self.path / "failed" / f"{task}.json"

    def log(self, task: str) -> Path:
        """What a fault nobody foresaw left to read; its name is the same in every run."""
        return self.path / "logs" / f"{task}.txt"


def attempt(desk: Desk, task: str, do: Callable[[], None]) -> bool:
    """Do a task; True when done, False when it failed, which is then noted with a sentence.

    A full disk is no fault of the task: it is raised, and ends the run, also where it shows as a file that could not
    be begun.
    """
    try:
        return _attempted(desk, task, do)
    except BadInput as err:
        behind = _of_the_system(err)
        if behind is not None and behind.errno in FULL:
            raise behind from None
        raise


def _attempted(desk: Desk, task: str, do: Callable[[], None]) -> bool:
    """The attempt itself, its notes written before and after."""
    began = _began(desk, task)
    if began is not None:
        ran, deaths = time.time() - began["since"], began["times"]
        if desk.limit and ran >= NEARLY * desk.limit:
            return _fail(desk, task, Reason("task_too_long", minutes=desk.limit / 60), again=True)
        if deaths >= MOST_DEATHS:
            return _fail(desk, task, Reason("task_died", times=deaths), again=True)
    note = {"run": desk.run, "since": time.time(), "times": (began["times"] if began else 0) + 1}
    write_whole(desk.started(task), note)
    if desk.limit:
        faulthandler.dump_traceback_later(desk.limit, exit=True, file=_nowhere())
    try:
        do()
        done = True
    except Exception as err:  # whatever it is, one row and no end of the run
        done = _noted(desk, task, err)
    finally:
        faulthandler.cancel_dump_traceback_later()
        gc.collect()
        gc.freeze()  # what is left are modules and tables: the next collection need not go through them (0.1 s a task)
    desk.started(task).unlink(missing_ok=True)
    return done


def failure(desk: Desk, task: str) -> Reason | str | None:
    """Why a task failed; None where no failure is noted, or a chance one by a process of an earlier run that was still
    going."""
    try:
        note = json.loads(desk.failed(task).read_text(encoding="utf-8"))
        said = note["said"]
    except (OSError, ValueError, KeyError):
        return None
    if note.get("again") and note.get("run") != desk.run:
        return None
    return from_plain(said) if isinstance(said, dict) else str(said)


def forget_chance_failures(desk: Desk) -> None:
    """Take away notes of failures that another run need not have: time, memory, a process that died."""
    for note in sorted((desk.path / "failed").glob("*.json")):
        if json.loads(note.read_text(encoding="utf-8")).get("again"):
            note.unlink()


def write_whole(path: Path, data: Any) -> None:
    """Strict JSON, whole or not at all."""
    with whole_file(path) as part:
        part.write_text(json.dumps(data, allow_nan=False, sort_keys=True) + "\n", encoding="utf-8")


def give_up(desk: Desk, task: str) -> None:
    """Note that a task took too many processes along."""
    _fail(desk, task, Reason("task_died", times=MOST_DEATHS), again=True)


def _noted(desk: Desk, task: str, err: Exception) -> bool:
    """Note what stopped a task; another run tries again what the system, not the input, was at fault for."""
    behind = _of_the_system(err)
    if behind is not None and behind.errno in FULL:
        raise behind
    if isinstance(err, MemoryError):
        return _fail(desk, task, Reason("task_memory"), again=True)
    ours = err if isinstance(err, TreescanError) else told(err, ("batch", task), desk.log(task))
    again = behind is not None or not isinstance(err, BadInput)
    return _fail(desk, task, ours.sentence(), again=again)


def _of_the_system(err: BaseException | None) -> OSError | None:
    """The fault of the system that a fault came from."""
    while err is not None:
        if isinstance(err, OSError) and err.errno is not None:
            return err
        err = err.__cause__
    return None


def _fail(desk: Desk, task: str, said: Reason | str, again: bool) -> bool:
    words = as_data(said) if isinstance(said, Reason) else said
    own = {"run": desk.run} if again else {}
    write_whole(desk.failed(task), {"said": words, "words": say(said), "again": again, **own})
    desk.started(task).unlink(missing_ok=True)
    return False


def _began(desk: Desk, task: str) -> dict[str, Any] | None:
    """The note of an attempt of this run that did not end."""
    try:
        note: dict[str, Any] = json.loads(desk.started(task).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return note if note.get("run") == desk.run else None


_NULL: list[Any] = []


def _nowhere() -> Any:
    """A file that stays open and swallows what is written."""
    if not _NULL:
        _NULL.append(open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
    return _NULL[0]
