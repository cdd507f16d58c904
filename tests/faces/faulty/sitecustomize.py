"""Python loads this by itself where its folder stands in PYTHONPATH: faults put into a process from outside, before a file event or at one.

TREESCAN_TEST_FAULT names a file of JSON; while it stands, its fault holds: "match" is a part of the name of the file of the event, "after" how many such
events go by first, and "kind" what happens then:

    worker, everything, scheduler   kill -9 of this process, of its whole group, of the process "victim"; once
    full                            no file can be begun any more
    dies                            kill -9 of this process every time the file is opened
    slow                            the process waits "seconds" when it opens the file first
    count                           nothing; every event adds a byte to the file "count"
"""

import json
import os
import signal
import sys
import time
from typing import Any

WHERE = os.environ.get("TREESCAN_TEST_FAULT", "")
held: dict[str, Any] = {"stamp": 0, "fault": None, "seen": 0, "busy": False}


def fault_now() -> dict[str, Any] | None:
    """The fault that holds, read again when its file was written anew."""
    try:
        stamp = os.stat(WHERE).st_mtime_ns
        if stamp != held["stamp"]:
            with open(WHERE, encoding="utf-8") as f:
                held.update(stamp=stamp, fault=json.load(f), seen=0)
    except (OSError, ValueError):
        held.update(stamp=0, fault=None)
    return held["fault"]


def taken() -> bool:
    """Whether it falls to this process, once, to do what is done once."""
    try:
        os.unlink(WHERE)
    except OSError:
        return False
    return True


def strike(event: str, args: tuple[Any, ...], fault: dict[str, Any]) -> None:
    """What the fault does at this event."""
    kind = fault["kind"]
    if kind in ("dies", "slow"):
        if event == "open" and kind == "dies":
            os.kill(os.getpid(), signal.SIGKILL)
        elif event == "open" and not held["seen"]:
            held["seen"] = 1
            time.sleep(fault["seconds"])
        return
    if event == "open" and not args[2] & (os.O_CREAT | os.O_WRONLY | os.O_RDWR):
        return
    held["seen"] += 1
    if kind == "count":
        with open(fault["count"], "ab") as f:
            f.write(b".")
    elif held["seen"] <= fault["after"]:
        return
    elif kind == "full":
        raise OSError(28, "No space left on device", str(args[0]))
    elif taken():
        if kind == "scheduler":
            os.kill(fault["victim"], signal.SIGKILL)
        elif kind == "everything":
            os.killpg(0, signal.SIGKILL)
        else:
            os.kill(os.getpid(), signal.SIGKILL)


def hook(event: str, args: tuple[Any, ...]) -> None:
    """Told of every event of this process."""
    if event not in ("open", "os.rename", "os.mkdir") or held["busy"]:
        return
    held["busy"] = True
    try:
        fault = fault_now()
        if fault and fault["match"] in str(args[0]):
            strike(event, args, fault)
    finally:
        held["busy"] = False


if WHERE:
    sys.addaudithook(hook)
