"""All words of a result file, read by its own kind of reader. Used wherever a test asks what a file says."""

from __future__ import annotations

import html
import json
import sqlite3
import struct
import subprocess
import zipfile
from pathlib import Path

import numpy as np
import pandas
from pyarrow import parquet


def glb_json(data: bytes) -> dict:
    """The JSON chunk of a binary glTF file."""
    length = struct.unpack("<I", data[12:16])[0]
    return json.loads(data[20 : 20 + length])


def text_of(path: Path) -> str:
    """The words of a file of any kind that we write."""
    data = path.read_bytes()
    if path.suffix == ".parquet":
        return pandas.read_parquet(path).to_csv() + (parquet.read_schema(path).metadata or {})[b"cautions"].decode()
    if path.suffix == ".npz":
        return " ".join(np.load(path)["cautions"].tolist())
    if path.suffix == ".zip":
        with zipfile.ZipFile(path) as archive:
            return " ".join(archive.read(n).decode("latin-1" if n.endswith((".shp", ".shx", ".dbf")) else "utf-8") for n in archive.namelist())
    if path.suffix == ".pdf":
        return subprocess.run(["pdftotext", "-raw", str(path), "-"], check=True, capture_output=True).stdout.decode()
    if path.suffix == ".glb":
        return json.dumps(glb_json(data), ensure_ascii=False)
    if path.suffix == ".gpkg":
        with sqlite3.connect(path) as db:
            return " ".join(row[0] for row in db.execute("select caution from cautions")) + str(db.execute("select caution from stem").fetchall())
    return html.unescape(data.decode("utf-8"))
