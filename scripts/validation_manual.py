#!/usr/bin/env python
"""What has been held against a published value, and how near does it come? A manual made from tests/validation.

    python scripts/validation_manual.py            writes scripts/VALIDATION.md
    python scripts/validation_manual.py --print    prints it

Each file says its sources in its first docstring, each test what it promises. Rows of a test that holds a formula against a
printed value (`value`, `expected`, `tolerance`, `source`) are worked out anew, so that ours stands beside it; the figures of other
tests are listed as their file gives them.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import inspect
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
TESTS = ROOT / "tests"
BOOK = Path(__file__).with_name("VALIDATION.md")
WORKED_OUT = ("name", "value", "expected", "tolerance", "source")
HEAD = """# Validation manual

Made by `python scripts/validation_manual.py` from tests/validation; do not edit. Every line is a test that runs with all others.
"""


def one_line(text: str | None) -> str:
    """A docstring as one line of a table."""
    return " ".join((text or "").split()).replace("|", "\\|")


def figure(x: Any) -> str:
    """A value in seven digits, anything else as it stands."""
    return f"{float(x):.7g}" if isinstance(x, (int, float)) and not isinstance(x, bool) else one_line(str(x))


def promises(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    """The tests of a file in their order."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            yield node


def tables_of(test: ast.FunctionDef, module: ModuleType) -> Iterator[tuple[tuple[str, ...], list[Any]]]:
    """Names and rows of each table a test is run over; those that cannot be had outside a test run are passed by."""
    for mark in getattr(getattr(module, test.name), "pytestmark", []):
        if mark.name == "parametrize":
            names, rows = mark.args[:2]
            names = tuple(n.strip() for n in names.split(",")) if isinstance(names, str) else tuple(names)
            yield names, [row if len(names) > 1 else (row,) for row in rows]


def table(names: tuple[str, ...], rows: list[Any]) -> Iterator[str]:
    """One table of a test: published beside ours where the row says how to work it out."""
    if names == WORKED_OUT:
        yield "| case | published | ours | allowed | source |"
        yield "|---|---|---|---|---|"
        for name, value, expected, tolerance, source in rows:
            cells = (name, figure(expected), figure(float(value())), f"{tolerance:g}", one_line(source))
            yield f"| {' | '.join(cells)} |"
        return
    if len(names) == 1:
        yield f"  Over: {', '.join(figure(row[0]) for row in rows)}."
        return
    yield f"| {' | '.join(names)} |"
    yield "|" + "---|" * len(names)
    for row in rows:
        yield f"| {' | '.join(figure(cell) for cell in row)} |"


def chapter(path: Path) -> Iterator[str]:
    """One file: its sources, its tests, their tables."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    module = importlib.import_module(f"validation.{path.stem}")
    title, _, sources = (inspect.getdoc(module) or path.stem).partition("\n")
    yield from (f"\n## {title.rstrip('.')}\n", f"`tests/validation/{path.name}`\n")
    if sources.strip():
        yield sources.strip() + "\n"
    for test in promises(tree):
        yield f"- *{test.name.removeprefix('test_').replace('_', ' ')}*: {one_line(ast.get_docstring(test))}"
        for names, rows in tables_of(test, module):
            if not any(callable(cell) for row in rows for cell in row) or names == WORKED_OUT:
                yield from ("", *table(names, rows), "")


def manual() -> str:
    """The whole manual as Markdown."""
    lines = [HEAD]
    for path in sorted((TESTS / "validation").glob("test_*.py")):
        lines.extend(chapter(path))
    return "\n".join(lines).rstrip() + "\n"


def main() -> None:
    """Write or print the manual."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--print", action="store_true", help="print it instead of writing scripts/VALIDATION.md")
    sys.path[:0] = [str(TESTS), str(ROOT / "scripts")]
    if asked.parse_args().print:
        sys.stdout.write(manual())
    else:
        BOOK.write_text(manual(), encoding="utf-8")


if __name__ == "__main__":
    main()
