"""What is said of a fault nobody foresaw? One sentence with the file, what was being done, the remedy, and
where the whole log lies."""

from __future__ import annotations

import errno
import os
import tempfile
import traceback
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path

from treescan.errors import BadInput, RunFailed, TreescanError

NOTE = "treescan was at: "
"""Start of the note that tells the stage a run was in."""
DAMAGED = (RecursionError, UnicodeError, zlib.error, zipfile.BadZipFile, EOFError)
"""Faults that a damaged or odd file gives and a sound one does not."""
LONGEST = 160
"""Letters of a fault's own words that are told."""


def told(err: BaseException, arguments: Sequence[str], log_file: Path | None = None) -> TreescanError:
    """The fault as one of ours, its log written: to a file of its own in the folder for such, or to the one named, of which
    only the name is told."""
    log = _logged(err, arguments, log_file)
    doing = _doing(err, arguments)
    file = _file(err, arguments)
    if isinstance(err, OSError) and err.errno in (errno.ENOSPC, errno.EDQUOT):
        return RunFailed(
            f"the disk is full; nothing was written ({doing})", file=file, remedy=f"make room and run again{log}"
        )
    if isinstance(err, OSError) and err.errno:
        return BadInput(
            f"cannot be read or written ({os.strerror(err.errno)}; {doing})",
            file=file,
            remedy=f"check the name, the rights and the disk{log}",
        )
    if isinstance(err, DAMAGED):
        nested = "is nested too deeply" if isinstance(err, RecursionError) else "is damaged"
        return BadInput(f"{nested} ({doing})", file=file, remedy=f"write or export it again{log}")
    return RunFailed(
        f"treescan could not go on ({doing}): a fault of treescan, or a file it should have refused",
        file=file,
        remedy=f"leave files out one by one to find which it is, and report it{log}",
    )


def _doing(err: BaseException, arguments: Sequence[str]) -> str:
    stage = next((n[len(NOTE) :] for n in getattr(err, "__notes__", ()) if n.startswith(NOTE)), "")
    command = next((a for a in arguments if not a.startswith("-")), "")
    return f"during {command}, {stage}" if stage else f"during {command}, reading"


def _file(err: BaseException, arguments: Sequence[str]) -> str | None:
    """The file the fault names, else the first file of the call."""
    named = getattr(err, "filename", None)
    if named:
        return os.fsdecode(named) if isinstance(named, (str, bytes)) else str(named)
    return next((a for a in list(arguments)[1:] if Path(a).is_file()), None)


def _logged(err: BaseException, arguments: Sequence[str], log_file: Path | None) -> str:
    """Where the log went, as the end of a remedy; empty where it could not be written."""
    try:
        if log_file is None:
            handle, name = tempfile.mkstemp(prefix="treescan-log-", suffix=".txt")
        else:
            log_file.parent.mkdir(parents=True, exist_ok=True)
            handle, name = os.open(log_file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666), log_file.name
        with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as log:
            log.write("treescan " + " ".join(arguments) + "\n\n")
            log.write("".join(traceback.format_exception(err)))
    except OSError:
        return ""
    return f"; the whole log is in {name}"
