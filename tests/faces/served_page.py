"""A server of the planner's page in a process of its own, as tests ask it; and the small tree they open on it."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
from hands import plain_tree
from strategies import alone

from treescan.cloud.point_cloud import LOCAL
from treescan.trees.scan_points import scan_points
from treescan.wood.files.write_tree import write_tree
from treescan.wood.graph import ScanFitness, TracedTree
from treescan.wood.quality.stem_figures import stem_figures

ROOT = Path(__file__).resolve().parents[2]
QUICK = {
    "loads.samples": 400,
    "planning.work_points": 40,
    "throw.fine_flights": 8,
    "throw.fine_planes": 64,
    "throw.methods": ["hand"],
    "throw.search_radius": 6.0,
}


HANG = 600.0
"""Longest wait for what ends by itself: a guard against a hang, far beyond what a busy machine takes. [s]"""


def small_plan(folder: Path, scanned: bool = True) -> Path:
    """A folder with a traced tree and what its plan was asked for; its tree.json. Not `scanned`: no points of a scan are kept with it."""
    graph = plain_tree()
    beside = alone(graph)
    folder.mkdir(parents=True)
    bark = graph.xyz[:, None] + graph.radius[:, None, None] * np.array([[1.0, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]])
    points = scan_points((bark.reshape(-1, 3),)) if scanned else None
    tree = TracedTree(graph, beside, LOCAL, stem_figures(graph, beside.terrain), ScanFitness("assessable", ()), "made up", points=points)
    write_tree(tree, folder / "tree.json")
    asked = {"species": "oak", "systems": ["MRS", "SRS canopy", "SRS basal"], "seed": 1}
    (folder / "run.json").write_text(json.dumps({"asked": asked, "settings": QUICK}))
    return folder / "tree.json"


class Served:
    """One server; `link` as it printed it, `cookie` once entered."""

    def __init__(self, given: list[Path], folder: Path, *more: str, **environ: str) -> None:
        command = [sys.executable, "-m", "treescan", "serve", *(str(p) for p in given), "-o", str(folder), *more]
        path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env={**os.environ, "PYTHONPATH": path, **environ}
        )
        assert self.process.stdout is not None
        said = self.process.stdout.readline()
        found = re.search(r"http://\S+", said)
        assert found, said
        self.link = found[0]
        self.host = urlsplit(self.link).netloc
        self.cookie = ""

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> tuple[int, dict[str, str], bytes]:
        """Status, headers and body of one answer; headers by name with _ for -, None leaves one out."""
        ours = {"Cookie": self.cookie, "X-Treescan": "1"} | {k.replace("_", "-"): v for k, v in headers.items()}
        connection = http.client.HTTPConnection(self.host, timeout=HANG)
        connection.putrequest(method, path, skip_host="Host" in ours)
        if body is not None and "Content-Length" not in ours:
            ours["Content-Length"] = str(len(body))
        for name, value in ours.items():
            if value:
                connection.putheader(name, value)
        connection.endheaders(body)
        answer = connection.getresponse()
        out = answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        connection.close()
        return out

    def enter(self) -> None:
        """By the link, as a browser does."""
        status, headers, _ = self.ask("GET", "/?" + urlsplit(self.link).query)
        assert status == 303, status
        self.cookie = headers["set-cookie"].split(";")[0]

    def json(self, method: str, path: str, body: Any = None, status: int = 200) -> Any:
        """An answer as data."""
        code, _, data = self.ask(method, path, None if body is None else json.dumps(body).encode())
        assert code == status, (code, data[:500])
        return json.loads(data)

    def key(self) -> str:
        return self.json("GET", "/trees")["trees"][0]["key"]

    def wish(self, key: str, status: int = 200, **wish: Any) -> Any:
        return self.json("POST", f"/tree/{key}/wish", wish, status)

    def change(self, key: str, kind: str, **values: Any) -> Any:
        return self.wish(key, wish="change", kind=kind, values=values)

    def settled(self, key: str, seconds: float = HANG) -> Any:
        """The state once nothing is being worked out."""
        until, since = time.monotonic() + seconds, 0
        while time.monotonic() < until:
            state = self.json("GET", f"/tree/{key}/state?since={since}")
            since = state["version"]
            if state["fault"] or (state["plan"] is not None and state["work"] is None):
                return state
        raise AssertionError("no answer in time")

    def kill(self) -> None:
        """As if the power went."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(15)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
