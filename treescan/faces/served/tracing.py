"""How far is the tracing of a cloud? A process of its own, so that it can be stopped and nothing waits for it."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PATIENCE = 5.0
"""Between asking a process to stop and ending it. [s]"""


@dataclass(frozen=True)
class Progress:
    """Where a tracing stands: a stage and its share done; done, or the sentence of its fault."""

    stage: str = ""
    share: float = 0.0
    done: bool = False
    fault: str = ""

    def plain(self) -> dict[str, Any]:
        """For the page."""
        return {"stage": self.stage, "share": self.share, "done": self.done, "fault": self.fault}


class Tracing:
    """`treescan trace` of one cloud into one tree.json."""

    def __init__(self, cloud: Path, target: Path, stopped: str) -> None:
        """`stopped` : what is said once it was stopped."""
        target.parent.mkdir(parents=True, exist_ok=True)
        self.target, self._said, self._stopping = target, stopped, False
        self.progress = Progress()
        command = [sys.executable, "-m", "treescan", "trace", str(cloud), "-o", str(target), "--json"]
        self._process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, errors="replace"
        )
        self._errors: list[str] = []
        self._hearing = threading.Thread(target=self._hear_errors, daemon=True)
        self._hearing.start()
        self._thread = threading.Thread(target=self._follow, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End it; nothing half-written is left."""
        self._stopping = True
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGINT)
            try:
                self._process.wait(PATIENCE)
            except subprocess.TimeoutExpired:
                self._process.kill()
        self._thread.join(PATIENCE)

    def _hear_errors(self) -> None:
        assert self._process.stderr is not None
        self._errors += list(self._process.stderr)

    def _follow(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            try:
                told = json.loads(line).get("progress")
            except (json.JSONDecodeError, AttributeError):
                continue
            if told:
                self.progress = Progress(str(told["stage"]), float(told["share"]))
        code = self._process.wait()
        self._hearing.join(PATIENCE)  # its last words may come after its end
        if code == 0:
            self.progress = Progress("", 1.0, done=True)
        elif self._stopping:
            self.progress = Progress(fault=self._said)
        else:
            last = " ".join(self._errors[-1:]).strip().removeprefix("treescan: ")
            self.progress = Progress(fault=last or self._said)
