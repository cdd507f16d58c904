"""A command killed at chosen moments: parted from one process that has everything loaded, so that 40 runs take minutes.

    python kill_moments.py JOB.json

JOB holds "command" (words; TARGET stands for the place of the result), "old" (folder the place is filled from), "work" (where every run has a
folder of its own) and "moments" (numbers of file events before which the run is killed, as kill -9 does; 0 = not at all). Prints a line for every
run: its number, its exit code (-9 killed) and the file events it counted. `plan` is planned once; every run writes the same assessment.
"""

from __future__ import annotations

import json
import os
import pickle
import shutil
import signal
import sys
from pathlib import Path

EVENTS = ("open", "os.", "shutil.", "ctypes.dlsym", "tempfile.")


def in_child(work, *given) -> int:
    """Exit code of `work(*given)` in a process of its own, negative where a signal ended it."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            code = work(*given)
        finally:
            sys.stdout.flush()
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def killed_run(words: list[str], place: str, moment: int, counted: Path) -> int:
    """The command; this process ends before file event number `moment` at the place."""
    from treescan.faces.cli.commands import run
    from treescan.faces.guard.watcher import start_watcher

    start_watcher()
    seen = [0]

    def hook(event: str, args: tuple) -> None:
        here = event.startswith("ctypes.dlsym") or any(isinstance(a, (str, os.PathLike)) and str(a).startswith(place) for a in args)
        if here and event.startswith(EVENTS):
            seen[0] += 1
            if seen[0] == moment:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)
    code = run(words)
    total = seen[0]
    counted.write_text(str(total))
    return code


def planned_once(words: list[str], kept: Path) -> int:
    """Plan for good and keep the assessment."""
    from treescan.faces.cli import jobs
    from treescan.faces.cli.commands import run

    real = jobs.plan

    def keeping(*given, **named):
        done = real(*given, **named)
        kept.write_bytes(pickle.dumps(done))
        return done

    jobs.plan = keeping
    return run(words)


def main(job: dict) -> None:
    """Every moment in turn."""
    work = Path(job["work"])
    if job["command"][0] == "plan":
        from treescan.faces.cli import jobs

        kept = work / "assessment"
        words = [w.replace("TARGET", str(work / "first" / "out")) for w in job["command"]]
        assert in_child(planned_once, words, kept) == 0
        done = pickle.loads(kept.read_bytes())
        jobs.plan = lambda *given, **named: done
    for number, moment in enumerate(job["moments"]):
        folder = work / f"run{number}"
        shutil.copytree(job["old"], folder)
        words = [w.replace("TARGET", str(folder)) for w in job["command"]]
        counted = work / f"counted{number}"
        code = in_child(killed_run, words, str(folder), moment, counted)
        print(number, code, counted.read_text() if counted.exists() else "-", flush=True)


if __name__ == "__main__":
    main(json.loads(Path(sys.argv[1]).read_text()))
