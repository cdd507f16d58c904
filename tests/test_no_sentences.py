"""Sentences are made in outputs/text alone: nothing below builds one, and nothing anywhere reads, compares or cuts one."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

HOME = Path(__file__).resolve().parents[1] / "treescan"
PAGES = sorted(HOME.rglob("*.html"))
SCRIPTS = [p for p in sorted(HOME.rglob("*.js")) if p.name not in {"viewer.js", "three.min.js"}]
FREE = {"sources.py", "cautions.py"}
"""Titles of sources and the standing safety text."""
ERRORS_ONLY = {
    "cloud/formats/e57.py",
    "cloud/formats/sniff.py",
    "cloud/opened.py",
    "cloud/registration/join.py",
    "faces/guard/last_net.py",
    "faces/guard/watcher.py",
    "wood/files/tree_shape.py",
}
"""Files whose only sentences go into an error raised elsewhere in them, or are said for a run that was killed."""
NAMES = {"(in metres)"}
"""Of the name of a map made metric."""
ERRORS = {
    "BadInput",
    "RunFailed",
    "ValueError",
    "KeyError",
    "TypeError",
    "setting",
    "warn",
    "Option",
    "Argument",
    "Typer",
    "BadParameter",
    "ClickException",
}
"""What may carry plain English: errors, the meaning of a setting, help of the command line."""
HELP = {"help", "short_help", "epilog", "remedy", "metavar"}
FOUR = re.compile(r"(?:[A-Za-z][a-z'-]*[,.;:]?\s+){3,}[A-Za-z]")
TWO = re.compile(r"[A-Za-z]{2,}[,.;:]? +(?:\x00[,.;:]? +)?[A-Za-z]{2,}")
CODE_LIKE = re.compile(
    r"^\s*(?:select|insert|create|update|delete|pragma|with|drop)\b|[<>{}]|://|halo-", re.IGNORECASE
)
LONG = 12
JOINING = {
    "the",
    "a",
    "an",
    "of",
    "is",
    "are",
    "in",
    "to",
    "and",
    "or",
    "not",
    "no",
    "was",
    "with",
    "from",
    "by",
    "at",
    "on",
    "it",
}
SENTENCES = {
    "words",
    "reason",
    "reasons",
    "sentence",
    "sentences",
    "note",
    "notes",
    "gates",
    "doubts",
    "warnings",
    "statements",
    "care",
    "fouling",
}
"""Names under which findings travel."""
CUTS = {
    "startswith",
    "endswith",
    "split",
    "rsplit",
    "partition",
    "rpartition",
    "removeprefix",
    "removesuffix",
    "lower",
    "replace",
    "find",
    "index",
}
SAID = {"say", "say_all", "text", "listed"}


def modules() -> list[Path]:
    text = HOME / "outputs" / "text"
    return [
        p
        for p in sorted(HOME.rglob("*.py"))
        if text not in p.parents and p.name not in FREE and str(p.relative_to(HOME)) not in ERRORS_ONLY
    ]


def name_of(node: ast.expr) -> str:
    """The last name of an expression: `p.check.reason`, `reasons[0]` and `reason(...)` give reason or reasons."""
    if isinstance(node, ast.Attribute):
        return node.attr
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Subscript):
        return name_of(node.value)
    return name_of(node.func) if isinstance(node, ast.Call) else ""


def a_sentence(node: ast.expr) -> bool:
    """Whether an expression is what `say` or `text` gave, or stands under a name that findings travel under."""
    if isinstance(node, ast.Call):
        return name_of(node) in SAID
    while isinstance(node, ast.Subscript):
        node = node.value
    if isinstance(node, ast.Name) and node.id == "words":
        return False  # the words of a file or of a person
    return name_of(node) in SENTENCES


def free_of_rules(tree: ast.AST) -> set[int]:
    """Nodes inside docstrings, errors, settings and help."""
    out: set[int] = set()
    for node in ast.walk(tree):
        docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        called = name_of(node.func) if isinstance(node, ast.Call) else ""
        spared = called in ERRORS or "progress" in called  # progress: names of stages
        if (
            isinstance(node, (ast.Raise, ast.Assert))
            or docstring
            or spared
            or (isinstance(node, ast.keyword) and node.arg in HELP)
        ):
            out |= {id(n) for n in ast.walk(node)}
    named = {n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and id(n) in out}
    for node in ast.walk(tree):  # REMEDY = "...", used in an error
        target = (
            node.targets[0]
            if isinstance(node, ast.Assign)
            else node.target
            if isinstance(node, ast.AnnAssign)
            else None
        )
        if isinstance(target, ast.Name) and target.id in named:
            out |= {id(n) for n in ast.walk(node)}
        if isinstance(node, ast.Attribute) and node.attr == "split":  # "a b c".split(): a list of names
            out.add(id(node.value))
    return out


def prose(text: str) -> bool:
    """Four words and more; a long row of words without one that joins them is a list of names."""
    if not FOUR.search(text) or CODE_LIKE.search(text) or text in NAMES:
        return False
    return len(text.split()) <= LONG or bool(JOINING & set(text.split()))


def built(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and text of every sentence that a module builds."""
    free = free_of_rules(tree)
    inside = {id(v) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for v in n.values}
    for node in ast.walk(tree):
        if id(node) in free or id(node) in inside:
            continue
        if isinstance(node, ast.JoinedStr):
            plain = "".join(str(v.value) if isinstance(v, ast.Constant) else "\x00" for v in node.values)
            if TWO.search(plain) and not CODE_LIKE.search(plain) and plain.replace("\x00", "").strip() not in NAMES:
                yield node.lineno, plain.replace("\x00", "…")
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and prose(node.value):
            yield node.lineno, node.value


def read(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and code of every place where a sentence is compared or cut."""
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr in CUTS
            and a_sentence(node.func.value)
        ):
            yield node.lineno, ast.unparse(node)
        elif isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            if any(
                isinstance(s, ast.Constant) and isinstance(s.value, str) and s.value for s in sides
            ) and any(map(a_sentence, sides)):
                yield node.lineno, ast.unparse(node)
        elif (
            isinstance(node, ast.Subscript)
            and isinstance(node.slice, ast.Slice)
            and isinstance(node.value, ast.Call)
            and name_of(node.value) in {"say", "text"}
        ):
            yield node.lineno, ast.unparse(node)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(HOME)))
def test_no_sentence_is_built_or_read_outside_the_texts(path: Path) -> None:
    """A finding is a code with values; its sentence stands in outputs/text and nobody decides by it."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert [*built(tree), *read(tree)] == []


def test_the_list_of_files_with_errors_only_names_files() -> None:
    """A file that is gone leaves the list."""
    assert {name for name in ERRORS_ONLY if not (HOME / name).exists()} == set()


@pytest.mark.parametrize(
    ("code", "count"),
    [
        ("x = 'The limb is too thin.'", 1),
        ("x = f'{n} stops on the way up'", 1),
        ("raise BadInput(f'the file {f} is not there')", 0),
        ("'''The limb is too thin.'''", 0),
        ("x = 'does not hold'", 0),
        ("x = f'{p.label} {p.system}'", 0),
    ],
)
def test_the_rule_knows_a_sentence(code: str, count: int) -> None:
    """Prose is found, identifiers, labels, errors and docstrings are not."""
    assert len(list(built(ast.parse(code)))) == count


@pytest.mark.parametrize(
    ("code", "count"),
    [
        ("if p.reason.startswith('Not seen'): pass", 1),
        ("if 'dead' in note: pass", 1),
        ("a = say(r)[:10]", 1),
        ("a = reasons[0].split(':')", 1),
        ("if r.code == 'margin_low': pass", 0),
        ("if p.reasons: pass", 0),
    ],
)
def test_the_rule_knows_a_decision_by_words(code: str, count: int) -> None:
    """Comparing, cutting and searching a sentence is found; asking for its code is not."""
    assert len(list(read(ast.parse(code)))) == count


@pytest.mark.parametrize("path", PAGES, ids=lambda p: p.name)
def test_a_page_has_no_words_of_its_own(path: Path) -> None:
    """What a reader sees or hears of a page comes from the tables."""
    page = re.sub(
        r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}|<(style|script)\b.*?</\1>",
        "",
        path.read_text(encoding="utf-8"),
        flags=re.DOTALL,
    )
    seen = re.findall(r">([^<>]*[A-Za-z]{3,}[^<>]*)<", page) + re.findall(
        r'(?:aria-label|title|placeholder|alt)="([^"]*[A-Za-z]{3,}[^"]*)"', page
    )
    assert [s for s in seen if s.strip() != "treescan"] == []


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.name)
def test_a_page_script_has_no_sentences_of_its_own(path: Path) -> None:
    """What the script shows it takes from the page's phrases."""
    script = re.sub(r"/\*.*?\*/|//.*", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert [s for s in re.findall(r'"([^"\n]*)"', script) if FOUR.search(s) and not CODE_LIKE.search(s)] == []
