"""How is an E57 file read? Its frame checked by hand, its points by a guarded child process, one or more
scans with their poses.

Header layout: ASTM E2807, section 7 (signature, version, physical length, place and length of the XML part,
page size).
"""

from __future__ import annotations

import json
import os
import queue
import re
import struct
import subprocess
import sys
import threading
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.opened import AGAIN, MOST_OF_A_NAME, Chunk, OpenedCloud, Reference
from treescan.cloud.projection import parsed_crs
from treescan.errors import BadInput
from treescan.reason import Reason

PATIENCE = 15.0
"""Seconds without any answer after which the child is given up."""

PAGE = 1024
"""The page size every known writer uses; the last 4 bytes of a page are its checksum. [bytes]"""
CHECKSUM = 4
MOST_OF_XML = 64 << 20
"""Longest description that is read; those of real files have some kilobytes a scan. [bytes]"""
MARKED = re.compile(rb"<!\s*(?!--|\[CDATA\[)")
"""Any declaration: document type, entity, element; comments and plain text parts are none."""
FIRST = re.compile(
    rb"(\xef\xbb\xbf)?\s*(<\?xml(?![^>]*encoding\s*=\s*[\"'](?!utf-?8[\"']))|<[A-Za-z])", re.IGNORECASE
)
"""Start of XML in UTF-8."""

COLUMNS = {
    "intensity": "intensity",
    "colorRed": "red",
    "colorGreen": "green",
    "colorBlue": "blue",
    "returnIndex": "return_number",
    "returnCount": "number_of_returns",
}

Message = tuple[dict[str, Any], dict[str, NDArray]]


def open_e57(file: Path) -> OpenedCloud:
    """Check the header, start the child, and hear what the file holds."""
    version = _check_header(file)
    child = Child(file)
    head = child.head
    counts = head["counts"]
    if not sum(counts):
        child.stop()
        what = "holds no scan" if not counts else "holds no points"
        raise BadInput(what, file=str(file), remedy="export the scans again, with their points")
    text = head["crs"].strip() or None
    crs = parsed_crs(text) if text else None
    trouble = Reason("reference_not_understood", said=text[:MOST_OF_A_NAME]) if text and crs is None else None
    columns = ("scan", *(COLUMNS[n] for n in COLUMNS if n in head["names"]))
    scanners = (
        np.array(head["translations"], float).reshape(-1, 3) if any(head["posed"]) else np.zeros((0, 3))
    )
    notes = (Reason("empty_scans", n=counts.count(0), of=len(counts)),) if 0 in counts else ()
    most = min(sum(counts), file.stat().st_size * 8)
    return OpenedCloud(
        "E57",
        Reason("file_version", version=version),
        most,
        child.chunks,
        Reference(crs, text, trouble=trouble),
        columns,
        notes,
        single_precision=head["single"],
        scans=len(counts),
        scanners=scanners,
        written_by=head["library"],
    )


def _check_header(file: Path) -> str:
    """The version, once the lengths in the header fit the file."""
    size = file.stat().st_size
    with file.open("rb") as f:
        block = f.read(48)
    if len(block) < 48:
        raise BadInput(f"ends inside its header ({size} bytes)", file=str(file), remedy=AGAIN)
    major, minor, length, xml_at, xml_length, page = struct.unpack_from("<IIQQQQ", block, 8)
    if major != 1:
        raise BadInput(
            f"claims E57 version {major}.{minor}, known is 1.0", file=str(file), remedy="export it as E57 1.0"
        )
    if length > size:
        raise BadInput(
            f"says it is {length} bytes long but has only {size}: it is cut short",
            file=str(file),
            remedy=AGAIN,
        )
    if page != PAGE or not 48 <= xml_at < size or not 0 < xml_length <= size - xml_at:
        raise BadInput(
            "has a damaged header (the place of its description lies outside of the file)",
            file=str(file),
            remedy=AGAIN,
        )
    _check_description(file, xml_at, xml_length)
    return f"{major}.{minor}"


def _check_description(file: Path, at: int, length: int) -> None:
    """BadInput where the XML part could make the native reader open another file or address.

    That needs a document type or an entity, which no writer of E57 uses; in an encoding other than UTF-8
    (ASTM E2807 asks for it) they could not be seen here.
    """
    if length > MOST_OF_XML:
        raise BadInput(f"has a description of {length} bytes", file=str(file), remedy=AGAIN)
    text = _logical(file, at, length)
    refused = None
    if MARKED.search(text.translate(None, b"\0")):
        refused = (
            "names a document type or an entity in its description, which could open other files or addresses"
        )
    elif b"\0" in text.rstrip(b"\0") or not FIRST.match(text):
        refused = "has a description that is not XML in UTF-8"
    if refused:
        raise BadInput(refused, file=str(file), remedy="export the scans again with another program")


def _logical(file: Path, at: int, length: int) -> bytes:
    """Bytes of the file without the checksums that end its pages."""
    with file.open("rb") as f:
        f.seek(at)
        raw = f.read(length + (length // (PAGE - CHECKSUM) + 2) * CHECKSUM)
    first = max(0, PAGE - CHECKSUM - at % PAGE)
    out = [raw[:first]]
    start = PAGE - at % PAGE
    out += [raw[k : k + PAGE - CHECKSUM] for k in range(start, len(raw), PAGE)]
    return b"".join(out)[:length]


class Child:
    """The guarded process that reads one file."""

    def __init__(self, file: Path) -> None:
        """Start it and wait for its first message."""
        self._file = file
        self._start()

    def _start(self) -> None:
        script = Path(__file__).with_name("e57_child.py")
        threads = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
        self._process = subprocess.Popen(
            [sys.executable, "-P", str(script), str(self._file.resolve())],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | threads,
        )
        self._end = weakref.finalize(self, _stop, self._process)
        self._messages: queue.Queue[Message | None] = queue.Queue(maxsize=2)
        assert self._process.stdout is not None
        threading.Thread(target=_listen, args=(self._process.stdout, self._messages), daemon=True).start()
        self.head = self._next()[0]
        self._fresh = True

    def stop(self) -> None:
        """End the process, if it still runs."""
        self._end()

    def _next(self) -> Message:
        """The next message; silence, a crash and an error each become one sentence."""
        try:
            message = self._messages.get(timeout=PATIENCE)
        except queue.Empty:
            self.stop()
            raise BadInput(
                f"made the E57 reader stop for more than {PATIENCE:.0f} s: it is damaged",
                file=str(self._file),
                remedy=AGAIN,
            ) from None
        if message is None:
            self.stop()
            raise BadInput(
                "made the E57 reader break down: it is damaged", file=str(self._file), remedy=AGAIN
            )
        if "error" in message[0]:
            self.stop()
            raise BadInput(f"is damaged ({_plain(message[0]['error'])})", file=str(self._file), remedy=AGAIN)
        return message

    def chunks(self) -> Iterator[Chunk]:
        """Every point of every scan, in the frame all scans share."""
        if not self._fresh:
            self._start()
        self._fresh = False
        translations = np.array(self.head["translations"], float).reshape(-1, 3)
        columns = [COLUMNS[n] for n in COLUMNS if n in self.head["names"]]
        try:
            while True:
                head, arrays = self._next()
                if head.get("end"):
                    return
                xyz = arrays["xyz"]
                found = {c: arrays.get(c, np.zeros(len(xyz), np.uint16)) for c in columns} | {
                    "scan": np.full(len(xyz), head["scan"], np.uint16)
                }
                bad = {"invalid_by_scanner": arrays["invalid"] != 0} if "invalid" in arrays else {}
                yield Chunk(xyz, translations[head["scan"]], found, bad)
        finally:
            self.stop()


def _listen(pipe: IO[bytes], messages: queue.Queue[Message | None]) -> None:
    """Turn bytes into messages; None at the end of the pipe or at nonsense."""
    try:
        while len(size := pipe.read(4)) == 4:
            head = json.loads(pipe.read(struct.unpack("<I", size)[0]))
            arrays = {}
            for name, kind, shape in head["arrays"]:
                values = np.empty(shape, kind)
                held = values.reshape(-1).view(np.uint8)
                if pipe.readinto(held) != values.nbytes:  # type: ignore[attr-defined]
                    raise EOFError
                arrays[name] = values
            messages.put((head, arrays))
    except (OSError, ValueError, EOFError):
        pass
    messages.put(None)


def _stop(process: subprocess.Popen[bytes]) -> None:
    """Kill and collect the child."""
    if process.poll() is None:
        process.kill()
    process.wait()


def _plain(error: str) -> str:
    """The library's message without its debug tail."""
    return error.split("****", maxsplit=1)[0].strip().rstrip(".") or "the library gives no reason"
