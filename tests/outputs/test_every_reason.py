"""Every code has its sentence, every sentence its code; the values given are the values asked for, in every language."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from jinja2 import Environment, nodes

from treescan.outputs.text import english
from treescan.outputs.text.say import TONGUES
from treescan.outputs.text.templates import names_in
from treescan.outputs.text.wording import ReaderSettings, written_for

HOME = Path(__file__).resolve().parents[2] / "treescan"
MODULES = sorted(HOME.rglob("*.py"))
PAGES = sorted((HOME / "outputs").rglob("*.html"))
SCRIPTS = sorted((HOME / "outputs").rglob("*.js"))
MAKERS = {"Reason", "text", "row"}
"""What makes a sentence of a code and named values."""
OTHER_NAMES = {"row": {"shown"}}
OWN = {"list_more", "throws_told"}
"""Made by the templates themselves."""


class Made(NamedTuple):
    """One place where a code meets its values."""

    where: str
    code: str
    names: frozenset[str]


def codes_of(node: ast.expr) -> list[str]:
    """The codes an argument may hold: a constant, or either side of a choice."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    return codes_of(node.body) + codes_of(node.orelse) if isinstance(node, ast.IfExp) else []


def made_in_modules() -> Iterator[Made]:
    """Calls with a written code and written names; those that pass a mapping on are rendered by other tests."""
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                not isinstance(node, ast.Call)
                or not isinstance(node.func, ast.Name)
                or node.func.id not in MAKERS
                or not node.args
            ):
                continue
            if any(k.arg is None for k in node.keywords):
                continue
            names = frozenset(k.arg for k in node.keywords if k.arg) - OTHER_NAMES.get(node.func.id, set())
            for code in codes_of(node.args[0]):
                yield Made(f"{path.relative_to(HOME)}:{node.lineno}", code, names)


def made_in_pages() -> Iterator[Made]:
    """The same in the pages' templates."""
    for path in PAGES:
        for node in Environment(autoescape=True).parse(path.read_text(encoding="utf-8")).find_all(nodes.Call):
            if (
                isinstance(node.node, nodes.Name)
                and node.node.name == "text"
                and node.args
                and isinstance(node.args[0], nodes.Const)
            ):
                yield Made(
                    f"{path.name}:{node.lineno}", node.args[0].value, frozenset(k.key for k in node.kwargs)
                )


MADE = sorted({*made_in_modules(), *made_in_pages()})


def test_codes_are_found() -> None:
    """The walk sees the makers of all rooms and of the page."""
    assert len(MADE) > 100 and any(m.where.startswith("report.html") for m in MADE)


@pytest.mark.parametrize("made", MADE, ids=lambda m: f"{m.code}@{m.where}")
def test_a_code_has_a_text_that_asks_for_just_the_values_it_is_given(made: Made) -> None:
    """A value more would never be shown, a value less would print a hole."""
    assert made.code in english.TEXTS, made
    assert names_in(english.TEXTS[made.code]) == made.names, made


def strings_in(path: Path) -> set[str]:
    """Every string of a module; `unit_` for f"unit_{name}"."""
    found = (
        n.value for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Constant)
    )
    return {value for value in found if isinstance(value, str)}


def test_every_text_is_used() -> None:
    """A code that no module, page or script names is dead; codes with one beginning may be named by it (f"unit_{name}")."""
    used = set().union(
        *(strings_in(path) for path in MODULES if (HOME / "outputs" / "text") not in path.parents)
    )
    beginnings = tuple(value for value in used if re.fullmatch(r"[a-z]+_", value))
    say = (HOME / "outputs" / "text" / "say.py").read_text(encoding="utf-8")
    for path in (*PAGES, *SCRIPTS):
        used |= set(re.findall(r"['\"](\w+)['\"]", path.read_text(encoding="utf-8")))
    used |= set(re.findall(r'text\("(\w+)"', say))
    assert sorted(code for code in english.TEXTS.keys() - used - OWN if not code.startswith(beginnings)) == []


TWO_SPELLINGS = (
    "metre|centimetre|millimetre|kilometre|colour|coloured|grey|centre|kerb|karabiner|harness|strop|practised|mould|neighbour|neighbouring|"
    "risk assessment|mobile platform|dismantle|epicormic shoot|fork"
)
"""What the United States write or say otherwise."""


@pytest.mark.parametrize(
    ("table", "code"),
    [
        (t, code)
        for t, texts in (("TEXTS", english.TEXTS), ("WORDS", english.WORDS))
        for code in sorted(texts)
    ],
)
def test_a_word_with_two_spellings_stands_in_both(table: str, code: str) -> None:
    """As <fork|crotch>: no reader gets the other country's word."""
    alone = re.sub(r"<[^<>|]*\|[^<>]*>|\{[^{}]*\}", " ", getattr(english, table)[code])
    assert re.findall(rf"\b(?:{TWO_SPELLINGS})s?\b", alone, re.IGNORECASE) == []


def sample(name: str, template: str) -> Any:
    """A value that fits every place a template has for it."""
    specs = set(re.findall(r"\{" + re.escape(name) + r"(?:±\w+)?(?::([^{}]*))?\}", template))
    if specs & {"names", "or"}:
        return ("U1", "U2")
    return 1.25 if any(specs) and not specs <= {"word", "Word"} else "holds"


@pytest.mark.parametrize("language", sorted(TONGUES))
@pytest.mark.parametrize("code", sorted(english.TEXTS))
def test_every_text_can_be_said_in_every_language(language: str, code: str) -> None:
    """With its values, and again without those it can do without; a translation asks for no other values."""
    tongue = TONGUES[language]
    template = tongue.template(code)
    asked = names_in(english.TEXTS[code])
    assert names_in(template) <= asked
    for reader in (
        ReaderSettings(language=language),
        ReaderSettings(units="imperial", words="US", language=language),
    ):
        with written_for(reader):
            said = tongue.render(code, {name: sample(name, template) for name in asked})
            assert said and not re.search(r"[{}\[\]]|<\w+\|", said), said


@pytest.mark.parametrize("language", sorted(TONGUES))
def test_no_language_says_what_english_does_not(language: str) -> None:
    """A translated code that no longer exists is found."""
    assert TONGUES[language].texts.keys() <= english.TEXTS.keys()
