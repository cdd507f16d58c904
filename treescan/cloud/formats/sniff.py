"""What kind of file is this? Decided by its first bytes; the extension only breaks ties and earns a note."""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path

from treescan.errors import BadInput
from treescan.reason import Reason

FORMATS = "LAS, LAZ, COPC, PLY, PCD, E57, XYZ, TXT, CSV and PTS"
"""What can be read, as printed in messages."""

EXTENSIONS = {
    "las": (".las", ".laz"),
    "ply": (".ply",),
    "pcd": (".pcd",),
    "e57": (".e57",),
    "text": (".xyz", ".txt", ".csv", ".pts", ".asc", ".xyzi", ".xyzrgb", ".tsv", ".dat", ""),
}

FOREIGN = (
    (b"PK\x03\x04", "a ZIP archive", "unpack it and give the cloud inside"),
    (b"\x1f\x8b", "a gzip archive", "unpack it and give the cloud inside"),
    (b"7z\xbc\xaf", "a 7-Zip archive", "unpack it and give the cloud inside"),
    (b"Rar!", "a RAR archive", "unpack it and give the cloud inside"),
    (b"\x89PNG", "a PNG picture", ""),
    (b"\xff\xd8\xff", "a JPEG picture", ""),
    (b"%PDF", "a PDF document", ""),
    (b"glTF", "a GLB model", ""),
    (b"\x89HDF", "an HDF5 file", ""),
    (b"II*\0", "a TIFF raster", ""),
    (b"MM\0*", "a TIFF raster", ""),
    (b"SQLite format 3", "a database (GeoPackage or alike)", ""),
    (
        b"version https://git-lfs",
        "only a Git LFS pointer, not the file itself",
        "fetch the real file with git lfs pull",
    ),
    (b"<!DOCTYPE", "a web page", "download the cloud again, the server sent a page instead"),
    (b"<html", "a web page", "download the cloud again, the server sent a page instead"),
)
"""First bytes of files people hand in by mistake, what they are, and what to do."""

ADDRESS = re.compile(r"(?:[A-Za-z][A-Za-z0-9+.\-]+:/|/+vsi[a-z0-9_]*/|//)", re.IGNORECASE)
"""Starts of names that some libraries would fetch from a network or unpack."""

ENCODINGS = ((b"\xff\xfe", "UTF-16"), (b"\xfe\xff", "UTF-16"))


def checked_path(path: str | os.PathLike[str]) -> Path:
    """The path, once it is known to be an ordinary, readable, non-empty file.

    Raises BadInput with one sentence otherwise.
    """
    name = os.fsdecode(path)
    if ADDRESS.match(name):
        raise BadInput(
            "is an address, not a file on this machine", file=name, remedy="download it first and name the file"
        )
    file = Path(path)
    try:
        found = file.stat()
        if stat.S_ISDIR(found.st_mode):
            raise BadInput("is a folder, not a point cloud", file=name, remedy=_one_of(file))
        if not stat.S_ISREG(found.st_mode):
            raise BadInput("is not an ordinary file", file=name, remedy="copy the cloud to disk first")
        if found.st_size == 0:
            raise BadInput("is empty (0 bytes)", file=name, remedy="copy or export the cloud again")
        with file.open("rb"):
            pass
    except BadInput:
        raise
    except FileNotFoundError:
        raise BadInput("there is no such file", file=name, remedy="check the name and the folder") from None
    except PermissionError:
        raise BadInput(
            "may not be read by this user",
            file=name,
            remedy="change the file's permissions or copy it to your own folder",
        ) from None
    except (OSError, ValueError) as e:
        raise BadInput(
            f"cannot be opened ({getattr(e, 'strerror', None) or e})",
            file=name,
            remedy="check the name and the disk",
        ) from None
    return file


def _one_of(folder: Path) -> str:
    """What to do with a folder: name one of its clouds, the first as an example, or the tree of a plan."""
    try:
        names = sorted(p.name for p in folder.iterdir() if p.is_file())
    except OSError:
        names = []
    known = {e for of_format in EXTENSIONS.values() for e in of_format if e}
    found = [n for n in names if Path(n).suffix.lower() in known]
    if {"tree.json", "run.json"} <= set(names):
        return f"it holds a plan: give {folder / 'tree.json'} to plan it again"
    example = f", for example treescan inspect {folder / found[0]}" if found else ""
    return f"name one file{example}; further scans of the same tree go with --also"


def sniff(file: Path) -> str:
    """One of the keys of `EXTENSIONS`, by content.

    Raises BadInput where the bytes are no known cloud, naming what they are where that is recognised.
    """
    with file.open("rb") as f:
        head = f.read(65536)
    name = str(file)
    if head.startswith(b"LASF"):
        return "las"
    if head.startswith(b"ASTM-E57"):
        return "e57"
    if head[:3] == b"ply" and head[3:4] in (b"\n", b"\r"):
        return "ply"
    if _looks_like_pcd(head):
        return "pcd"
    for magic, what, remedy in FOREIGN:
        if head.startswith(magic):
            raise BadInput(
                f"is {what}, not a point cloud",
                file=name,
                remedy=remedy or f"give a file in one of {FORMATS}",
            )
    for mark, encoding in ENCODINGS:
        if head.startswith(mark):
            raise BadInput(f"is {encoding} text", file=name, remedy="save it again as UTF-8 or plain ASCII")
    if b"\0" in head or _share_of_control_bytes(head) > 0.01:
        raise BadInput(
            f"is neither text nor any point cloud format known here{_meant(file)}",
            file=name,
            remedy=f"export it again as one of {FORMATS}",
        )
    return "text"


def extension_note(file: Path, kind: str) -> Reason | None:
    """A note where the extension promises another format than the content is."""
    ext = file.suffix.lower()
    if (
        (ext == ".laz" and kind == "las")
        or ext in EXTENSIONS[kind]
        or (kind == "las" and ext.endswith(".copc"))
    ):
        return None
    if any(ext in known for known in EXTENSIONS.values()):
        return Reason("extension_misleads", extension=ext, format=kind)
    return None


def _meant(file: Path) -> str:
    """What the extension promised, for the message on unknown bytes."""
    ext = file.suffix.lower()
    known = [k for k, v in EXTENSIONS.items() if ext and ext in v]
    return f" (its name ends in {ext} but the content does not start like that format)" if known else ""


def _looks_like_pcd(head: bytes) -> bool:
    """A PCD header may start with comment lines; FIELDS and DATA must follow."""
    text = head[:4096]
    return (text.startswith((b"# .PCD", b"VERSION", b"# PCD", b"#.PCD")) and b"FIELDS" in text) or (
        b"\nFIELDS " in text and b"\nDATA " in text
    )


def _share_of_control_bytes(head: bytes) -> float:
    """Share of bytes that never stand in text files."""
    codes = [*range(1, 9), 11, *range(14, 27), *range(28, 32), 127]
    return sum(head.count(bytes([c])) for c in codes) / max(len(head), 1)
