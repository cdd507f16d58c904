"""The species is asked for at a terminal, once, where naming it would change a verdict; never in a pipe."""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hands import tree
from strategies import alone

from treescan.assess import Assessment, plan
from treescan.cloud.point_cloud import LOCAL
from treescan.faces.cli.commands import run
from treescan.faces.cli.species_question import may_ask, with_species_asked
from treescan.faces.told.progress_bar import Reporter
from treescan.wood.files.read_tree import read_tree
from treescan.wood.files.write_tree import write_tree
from treescan.wood.graph import ScanFitness, TracedTree
from treescan.wood.quality.stem_figures import stem_figures

pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo terminals on this machine")
QUESTION = "Which species is it"


@pytest.fixture(scope="module")
def tree_json(tmp_path_factory) -> Path:
    """A stem with limbs of which some hold as a strong oak and not as a weak one."""
    graph = tree(
        ([(0, 0, 0), (0, 0, 12)], 0.16, 0.05),
        ([(0, 0, 5), (2.0, 0, 6.5), (3.5, 0, 8)], 0.07, 0.02),
        ([(0, 0, 7), (-2.0, 0, 8.5), (-3.5, 0, 10)], 0.06, 0.02),
        ([(0, 0, 9), (0, 1.5, 10.5), (0, 2.5, 12)], 0.05, 0.02),
    )
    beside = alone(graph)
    traced = TracedTree(graph, beside, LOCAL, stem_figures(graph, beside.terrain), ScanFitness("assessable", ()), "made up")
    path = tmp_path_factory.mktemp("tree") / "tree.json"
    write_tree(traced, path)
    return path


@contextmanager
def terminal(typed: str) -> Iterator[list[str]]:
    """Standard input and error on a pseudo terminal into which somebody types; what came on the screen, at the end."""
    master, slave = os.openpty()
    before, seen, screen = (sys.stdin, sys.stderr), [], []

    def read() -> None:
        while True:
            try:
                part = os.read(master, 65536)
            except OSError:
                return
            seen.append(part)

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    os.write(master, typed.encode())
    try:
        with os.fdopen(os.dup(slave), encoding="utf-8") as sys.stdin, os.fdopen(os.dup(slave), "w", encoding="utf-8") as sys.stderr:
            os.close(slave)
            yield screen
    finally:
        sys.stdin, sys.stderr = before
        reader.join(5.0)
        os.close(master)
        screen.append(b"".join(seen).decode("utf-8", "replace"))


@pytest.fixture(scope="module")
def oak(tree_json) -> Assessment:
    """Planned as a bare "oak"."""
    return plan(read_tree(str(tree_json)), species="oak", systems=("MRS",))


def asked(done: Assessment, typed: str) -> tuple[Assessment, str]:
    """The plan after the question, if there is one, and the screen."""
    with terminal(typed) as screen:
        assert may_ask(quiet=False, as_json=False)
        assert not may_ask(quiet=True, as_json=False)
        assert not may_ask(quiet=False, as_json=True)
        after = with_species_asked(done, Reporter())
    return after, screen[0]


def test_a_bare_name_is_asked_for_once_and_the_answer_is_planned(oak):
    """What naming it would change is said first; the answer is planned as if it had been given at once."""
    after, screen = asked(oak, "Quercus virginiana\nQuercus alba\n")
    assert screen.count(QUESTION) == 1
    assert "candidates would be judged otherwise" in screen
    assert after.asked.species == "Quercus virginiana"
    assert max(p.check.check.margin.p5 for p in after.points) > max(p.check.check.margin.p5 for p in oak.points)
    again, screen = asked(after, "Quercus alba\n")
    assert again is after
    assert QUESTION not in screen


@pytest.mark.parametrize("typed", ["\n", "no such tree\n", ""])
def test_nothing_said_leaves_the_weakest(oak, typed):
    """Enter alone, a name nobody knows and a terminal that was closed leave the plan as it was."""
    if not typed:
        typed = "\x04"  # end of file, as a terminal sends it
    after, screen = asked(oak, typed)
    assert after is oak
    assert screen.count(QUESTION) == 1
    assert "left as it was" in screen


def test_a_tree_nobody_named_is_asked_for(tree_json):
    """No name at all: held against the high end of the table."""
    done = plan(read_tree(str(tree_json)), systems=("MRS",))
    after, screen = asked(done, "\n")
    assert after is done
    assert screen.count(QUESTION) == 1


def test_the_command_asks_and_writes_the_answer(tree_json, tmp_path):
    """`treescan plan` at a terminal: run.json states the species that was named."""
    out = tmp_path / "out"
    with terminal("Quercus virginiana\n") as screen:
        assert run(["plan", str(tree_json), "-o", str(out), "--species", "oak", "--system", "MRS"]) == 0
    assert screen[0].count(QUESTION) == 1
    assert json.loads((out / "run.json").read_text())["asked"]["species"] == "Quercus virginiana"


def test_a_pipe_is_never_asked(monkeypatch):
    """Standard input or error that is no terminal: nobody is there to answer."""
    with terminal(""):
        with open(os.devnull) as nothing:
            monkeypatch.setattr(sys, "stdin", nothing)
            assert not may_ask(quiet=False, as_json=False)
            monkeypatch.undo()
        with open(os.devnull, "w") as nowhere:
            monkeypatch.setattr(sys, "stderr", nowhere)
            assert not may_ask(quiet=False, as_json=False)
            monkeypatch.undo()
