"""Whole files and whole folders or none: written beside under a temporary name, renamed when complete."""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from treescan.errors import BadInput

try:
    import fcntl
except ImportError:  # not on Windows
    fcntl = None  # type: ignore[assignment]

PART = ".part-"
"""Start of every temporary name; what is called so belongs to a run that still goes, or was killed."""
LOCK = ".lock-"
"""Start of the name of the file beside a folder that one run holds."""
AT_HAND = -100
EXCHANGE = 2
"""AT_FDCWD and RENAME_EXCHANGE of renameat2, Linux manual page rename(2)."""

LETS_GO = 2.0
"""Time a killed run needs at most to let go of its lock. [s] (project choice)"""

unfinished: list[Callable[[Path], None]] = []
"""Told of every temporary path before it is used, so that somebody can take it away after a kill."""


@contextmanager
def whole_file(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Give a temporary path to write to; rename it to `path` on success, remove it on any failure or
    interruption.

    Raises BadInput when the folder cannot be written.
    """
    target = Path(path)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=PART, suffix=target.suffix, dir=target.parent)
    except OSError as err:
        raise _not_written(target, err) from err
    os.close(handle)
    part = Path(name)
    _tell(part)
    try:
        yield part
        part.chmod(0o666 & ~_umask())
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def whole_folder(target: Path, may_replace: Callable[[], object]) -> Iterator[Path]:
    """Give a temporary folder beside `target` to write to; put it in the place of `target` in one step on
    success, remove it on any failure or interruption.

    Parameters
    ----------
    target : Path           New, empty, or a folder written earlier, which is then gone as a whole.
    may_replace : callable  Called just before the step; raises where the folder must not be replaced.

    Raises BadInput when the place cannot be written.
    """
    target = Path(os.path.realpath(target))
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f"{PART}{target.name}-", dir=target.parent))
    except OSError as err:
        raise _not_written(target, err) from err
    _tell(part)
    try:
        yield part
        part.chmod(0o777 & ~_umask())
        may_replace()
        _swap(part, target)
    finally:
        shutil.rmtree(part, ignore_errors=True)


@contextmanager
def only_run(target: Path) -> Iterator[None]:
    """Hold the place `target` for this run alone; what a killed run left beside it is taken away.

    Raises BadInput where another run holds it, or the folder it stands in cannot be written.
    """
    target = Path(os.path.realpath(target))
    lock = target.parent / f"{LOCK}{target.name}"
    if fcntl is None:
        yield
        return
    made = _missing(target.parent)
    handle = _held(lock, target)
    _tell(lock)
    try:
        _tidy(target)
        yield
    finally:
        lock.unlink(missing_ok=True)
        os.close(handle)
        with suppress(OSError):
            for folder in made:
                folder.rmdir()


def take_away(left: Path) -> None:
    """Remove what a killed run left at a path it had told of; a lock only where no other run holds it by now."""
    if left.name.startswith(LOCK) and fcntl is not None:
        with suppress(OSError):
            handle = os.open(left, os.O_RDWR | os.O_CLOEXEC)
            if _soon_free(handle):
                left.unlink(missing_ok=True)
    elif left.name.startswith(PART):
        shutil.rmtree(left, ignore_errors=True)
        with suppress(OSError):
            left.unlink()


def _soon_free(handle: int) -> bool:
    """Whether the lock can be had: a run that is ending lets go of its files one after another."""
    deadline = time.monotonic() + LETS_GO
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        except OSError:
            if time.monotonic() > deadline:
                return False
            time.sleep(0.02)


def write_text(path: str | os.PathLike[str], text: str) -> Path:
    """Write a UTF-8 text file as a whole."""
    with whole_file(path) as part:
        part.write_text(text, encoding="utf-8", newline="\n")
    return Path(path)


def write_bytes(path: str | os.PathLike[str], data: bytes) -> Path:
    """Write a binary file as a whole."""
    with whole_file(path) as part:
        part.write_bytes(data)
    return Path(path)


def _held(lock: Path, target: Path) -> int:
    """The open and locked file; tried again where its last holder took it away in between."""
    while True:
        try:
            lock.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | getattr(os, "O_NOFOLLOW", 0), 0o666)
        except OSError as err:
            raise _not_written(target, err) from err
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(handle)
            raise BadInput(
                "another run of treescan is writing here",
                file=str(target),
                remedy="wait until it is done, or give another place to -o",
            ) from None
        with suppress(OSError):
            if os.path.samestat(os.fstat(handle), lock.stat()):
                return handle
        os.close(handle)


def _tidy(target: Path) -> None:
    """Take away what killed runs left beside `target`; a folder taken out of its place is put back."""
    for left in sorted(target.parent.iterdir()):
        found = re.fullmatch(re.escape(f"{PART}{target.name}-") + r"[a-z0-9_]{8}(-before)?", left.name)
        if found and found[1] and not os.path.lexists(target):
            left.rename(target)
        elif found:
            shutil.rmtree(left, ignore_errors=True)


def _missing(folder: Path) -> list[Path]:
    """Folders that are not there yet, the innermost first."""
    out = []
    while not folder.exists() and folder != folder.parent:
        out.append(folder)
        folder = folder.parent
    return out


def _swap(part: Path, target: Path) -> None:
    """Put the folder `part` in the place of `target`; what stood there is then called `part`."""
    if not target.exists() or (target.is_dir() and not any(target.iterdir()) and not target.is_symlink()):
        if sys.platform == "win32" and target.exists():
            target.rmdir()
        part.rename(target)
        return
    if _exchanged(part, target):
        return
    before = part.with_name(part.name + "-before")
    target.rename(before)
    try:
        part.rename(target)
    except BaseException:
        before.rename(target)
        raise
    shutil.rmtree(before, ignore_errors=True)


def _exchanged(a: Path, b: Path) -> bool:
    """True when the two names were exchanged in one step, which not every system can."""
    if not sys.platform.startswith("linux"):
        return False
    exchange = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    return exchange is not None and exchange(AT_HAND, os.fsencode(a), AT_HAND, os.fsencode(b), EXCHANGE) == 0


def _tell(part: Path) -> None:
    for told in unfinished:
        told(part)


def _not_written(target: Path, err: OSError) -> BadInput:
    """A place that cannot be written, in one sentence."""
    return BadInput(
        f"cannot be written ({err.strerror})",
        file=str(target),
        remedy="choose a folder you may write to with -o",
    )


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
