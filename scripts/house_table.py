#!/usr/bin/env python
"""How does the house stand? Files, lines, longest functions and what should not be there, by sub-room.

    python scripts/house_table.py [CHECKOUT] [--against OLD_CHECKOUT] [--list]

With --against the old figures stand before the new ones in every cell. --list names what was counted.
"""

from __future__ import annotations

import argparse
import ast
import io
import re
import tokenize
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

PROSE_WORDS = 4
"""A text of so many words in a row is a sentence."""
WINDOW = 6
"""Lines that must be the same to count as a copy."""
PLAIN_NUMBERS = {0, 1, 2, -1, 0.5, 3, 100, 1000, 1e-9, 1e-12}
"""Literals that name themselves: counts, halves, dimensions, per cents, guards against division by nothing."""
NOT_PROSE = {"setting", "BadInput", "RunFailed", "ValueError", "KeyError", "TypeError", "Option", "Argument", "Source", "Caution"}
"""Calls whose texts are errors, help of the command line, or citations."""
TEXT_READERS = {"startswith", "endswith", "removeprefix", "removesuffix", "partition", "split"}
WORDS_LIVE_HERE = ("outputs/text", "sources.py", "cautions.py", "__init__.py", "__main__.py")


@dataclass
class Count:
    """What was found in one sub-room."""

    files: int = 0
    lines: int = 0
    longest_file: int = 0
    longest_function: int = 0
    long_functions: list[str] = field(default_factory=list)
    wide_functions: list[str] = field(default_factory=list)
    columns: list[str] = field(default_factory=list)
    literals: list[str] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    read: list[str] = field(default_factory=list)


def code_lines(source: str) -> set[int]:
    """Lines that hold code: no blank lines, comments or docstrings."""
    tree = ast.parse(source)
    documentation = {
        line
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
        for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)
    }
    lines: set[int] = set()
    skip = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in skip:
            lines |= set(range(token.start[0], token.end[0] + 1))
    return lines - documentation


def is_compiled(function: ast.FunctionDef) -> bool:
    """Whether numba compiles the function."""
    return any("njit" in ast.unparse(d) or "vectorize" in ast.unparse(d) for d in function.decorator_list)


def texts_of(tree: ast.Module) -> list[tuple[int, str]]:
    """Texts a user could meet, with their lines: docstrings, errors and help apart."""
    skip: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            skip.add(id(node.value))
        called = isinstance(node, ast.Call) and re.split(r"[.]", ast.unparse(node.func))[-1] in NOT_PROSE
        if isinstance(node, (ast.Raise, ast.Assert)) or called:
            skip |= {id(inner) for inner in ast.walk(node)}
    out = []
    for node in ast.walk(tree):
        if id(node) in skip:
            continue
        if isinstance(node, ast.JoinedStr):
            skip |= {id(inner) for inner in ast.walk(node)}
            out.append((node.lineno, "".join(v.value if isinstance(v, ast.Constant) else " X " for v in node.values)))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            out.append((node.lineno, node.value))
    return out


def is_prose(text: str) -> bool:
    """Whether a text reads as a sentence or a clause of one."""
    words = [w for w in text.split() if re.fullmatch(r"[(\"']?[A-Za-z][a-z'-]*[.,;:!?)\"']*", w)]
    return len(words) >= PROSE_WORDS and not re.search(r"[{<]\w+[ =:]|\bSELECT\b|^[A-Z_]+\[", text)


def reads_of_prose(tree: ast.Module) -> list[int]:
    """Lines where a text with spaces is compared, or a word is looked for in one."""
    out = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            if any(isinstance(s, ast.Constant) and isinstance(s.value, str) and len(s.value.split()) > PROSE_WORDS for s in sides):
                out.append(node.lineno)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in TEXT_READERS and node.args:
            given = node.args[0]
            if isinstance(given, ast.Constant) and isinstance(given.value, str) and re.search(r"[A-Za-z]{3,}[:. ]", given.value):
                out.append(node.lineno)
    return out


def measure(package: Path) -> dict[str, Count]:
    """Every sub-room's count; modules at the top of a room count for the room."""
    rooms: dict[str, Count] = defaultdict(Count)
    for path in sorted(package.rglob("*.py")):
        inside = path.relative_to(package)
        room = "/".join(inside.parts[:-1][:2]) or "(top)"
        source, count = path.read_text(encoding="utf-8"), rooms[room]
        tree, code = ast.parse(source), code_lines(source)
        length = source.count("\n")
        count.files += path.name != "__init__.py"
        count.lines += length
        count.longest_file = max(count.longest_file, length)
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef):
                _function(count, node, code, str(inside))
            elif isinstance(node, ast.Subscript):
                _column(count, node, str(inside))
        if inside.parts[0] in {"wood", "trees"}:
            count.literals += _literals(tree, str(inside))
        if not str(inside).startswith(WORDS_LIVE_HERE) and path.name not in WORDS_LIVE_HERE:
            count.sentences += [f"{inside}:{line}: {text[:70]}" for line, text in texts_of(tree) if is_prose(text)]
        count.read += [f"{inside}:{line}" for line in reads_of_prose(tree)]
    return rooms


def _function(count: Count, node: ast.FunctionDef, code: set[int], where: str) -> None:
    inner = [f for f in ast.walk(node) if isinstance(f, ast.FunctionDef) and f is not node]
    nested = {line for f in inner for line in range(f.lineno, (f.end_lineno or f.lineno) + 1)}
    size = len((code & set(range(node.lineno, (node.end_lineno or node.lineno) + 1))) - nested)
    count.longest_function = max(count.longest_function, size)
    if size > (80 if is_compiled(node) else 60):
        count.long_functions.append(f"{where}:{node.lineno}: {node.name} {size}")
    parameters = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs) if a.arg not in {"self", "cls"}]
    if len(parameters) > 8 and not is_compiled(node):
        count.wide_functions.append(f"{where}:{node.lineno}: {node.name} {len(parameters)}")


def _column(count: Count, node: ast.Subscript, where: str) -> None:
    index = node.slice
    if isinstance(index, ast.Tuple) and len(index.elts) > 1:
        last = index.elts[-1]
        if isinstance(last, ast.Constant) and isinstance(last.value, int) and last.value >= 3:
            count.columns.append(f"{where}:{node.lineno}: {ast.unparse(node)[:50]}")


def _literals(tree: ast.Module, where: str) -> list[str]:
    out = []
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        for node in ast.walk(function):
            number = isinstance(node, ast.Constant) and isinstance(node.value, (int, float)) and not isinstance(node.value, bool)
            if number and node.value not in PLAIN_NUMBERS:
                out.append(f"{where}:{node.lineno}: {node.value}")
    return sorted(set(out))


def copies(package: Path) -> list[str]:
    """Places that share a run of lines, names and numbers included."""
    seen: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for path in sorted(package.rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        code = code_lines(source)
        lines = [(i, text.strip()) for i, text in enumerate(source.splitlines(), 1) if i in code and len(text.strip()) > 1]
        lines = [(i, text) for i, text in lines if not text.startswith(("import ", "from "))]
        for k in range(len(lines) - WINDOW + 1):
            window = lines[k : k + WINDOW]
            if all(b[0] - a[0] < WINDOW for a, b in pairwise(window)):
                seen[tuple(text for _, text in window)].append(f"{path.relative_to(package)}:{window[0][0]}")
    return [" = ".join(places) for places in seen.values() if len(places) > 1]


COLUMNS = {
    "files": lambda c: c.files,
    "lines": lambda c: c.lines,
    "longest file": lambda c: c.longest_file,
    "longest function": lambda c: c.longest_function,
    "too long": lambda c: len(c.long_functions),
    "over 8 parameters": lambda c: len(c.wide_functions),
    "column numbers": lambda c: len(c.columns),
    "literals": lambda c: len(c.literals),
    "sentences": lambda c: len(c.sentences),
    "sentences read": lambda c: len(c.read),
}


def table(new: dict[str, Count], old: dict[str, Count] | None) -> str:
    """The figures as a markdown table; what was before stands before the arrow."""
    rooms = [*new, *sorted(set(old or {}) - set(new))]
    rows = ["| room | " + " | ".join(COLUMNS) + " |", "|---" * (len(COLUMNS) + 1) + "|"]
    for room in sorted(rooms):
        here = new.get(room)
        rows.append(f"| {room} | " + " | ".join(str(f(here)) if here else "-" for f in COLUMNS.values()) + " |")
    total = []
    for name, f in COLUMNS.items():
        add = max if name.startswith("longest") else sum
        after = add(f(c) for c in new.values())
        total.append(f"{add(f(c) for c in old.values())} → {after}" if old else str(after))
    return "\n".join([*rows, "| **all** | " + " | ".join(total) + " |"])


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("checkout", type=Path, nargs="?", default=Path(__file__).parent.parent)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--list", action="store_true")
    asked = parser.parse_args()
    new = measure(asked.checkout / "treescan")
    old = measure(asked.against / "treescan") if asked.against else None
    print(table(new, old))
    before = f"{len(copies(asked.against / 'treescan'))} → " if asked.against else ""
    found = copies(asked.checkout / "treescan")
    print(f"\nRuns of {WINDOW} lines that stand twice: {before}{len(found)}")
    if asked.list:
        for room, count in new.items():
            for name in ("long_functions", "wide_functions", "columns", "literals", "sentences", "read"):
                for line in getattr(count, name):
                    print(f"{room} {name}: {line}")
        print("\n".join(f"copy: {c}" for c in found))


if __name__ == "__main__":
    main()
