"""Who takes away what a killed run leaves, and ends a run that does not hear Ctrl-C?

A second, tiny process, parted before anything is loaded. Compiled loops do not look at signals; the
interpreter notes a signal in a pipe at once (`signal.set_wakeup_fd`), which the watcher reads.
"""

from __future__ import annotations

import os
import select
import signal
import sys
from contextlib import suppress
from pathlib import Path

from treescan import atomic

PATIENCE = 0.6
"""Time a run has to end by itself after Ctrl-C. [s]"""


def start_watcher() -> None:
    """Part the watcher from this process; nothing where the system cannot."""
    if not hasattr(os, "fork"):
        return
    read, write = os.pipe()
    if os.fork() == 0:
        _watch(read, write)
    os.close(read)
    os.set_blocking(write, False)
    signal.set_wakeup_fd(write, warn_on_full_buffer=False)
    atomic.unfinished.append(lambda part: _note(write, part))


def _note(pipe: int, part: Path) -> None:
    with suppress(OSError):
        os.write(pipe, b"\n" + os.fsencode(os.path.abspath(part)).hex().encode() + b"\n")


def _watch(read: int, write: int) -> None:
    """Wait for the end of the run, then take away what it left; never returns."""
    parent = os.getppid()
    try:
        os.setsid()
        os.close(write)
        for stream in (0, 1):
            with suppress(OSError):
                os.close(stream)
        for s in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(s, signal.SIG_IGN)
        held, interrupted = b"", False
        while True:
            ready = select.select([read], [], [], PATIENCE if interrupted else None)[0]
            if not ready:
                sys.stderr.write("treescan: stopped. No half-written file is left.\n")
                sys.stderr.flush()
                os.kill(parent, signal.SIGKILL)
                interrupted = False
                continue
            block = os.read(read, 65536)
            if not block:
                break
            interrupted = interrupted or bytes([signal.SIGINT]) in block
            held += block
        _take_away(held)
    finally:
        os._exit(0)


def _take_away(held: bytes) -> None:
    for line in held.split(b"\n"):
        path = os.fsdecode(bytes.fromhex(line.translate(None, bytes(range(32))).decode()))
        atomic.take_away(Path(path))
