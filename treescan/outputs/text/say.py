"""How is a finding said to this reader? The only way from a `Reason` to a sentence."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from treescan.outputs.text import english, german, wording
from treescan.outputs.text.templates import Tongue
from treescan.reason import Reason

ENGLISH = Tongue(english.TEXTS, english.WORDS)
TONGUES: dict[str, Tongue] = {"en": ENGLISH, "de": Tongue(german.TEXTS, german.WORDS, behind=ENGLISH)}


def say(reason: Reason | str) -> str:
    """The sentence of a finding in the reader's language, units and words; a person's own words (plain text) letter for letter."""
    if not isinstance(reason, Reason):
        return reason
    return tongue().render(reason.code, reason.values)


def say_all(reasons: Iterable[Reason | str]) -> tuple[str, ...]:
    """One sentence each."""
    return tuple(say(r) for r in reasons)


def text(code: str, **values: Any) -> str:
    """A heading, label or sentence of the outputs' own."""
    return tongue().render(code, values)


def word(key: str) -> str:
    """The reader's word for an identifier such as a rope system, load case or verdict."""
    return tongue().word(key)


def figure(value: Any, spec: str) -> str:
    """A bare figure for a table cell, by the specs of `templates`; "not seen" where it is not known.

    >>> figure(8.4, "m"), figure(float("nan"), "kN")
    ('8.4 m (27.6 ft)', 'not seen')
    """
    return tongue().bare(value, spec)


def listed(names: Iterable[str], otherwise: str) -> str:
    """Names in one line, long lists counted; the text `otherwise` (a code) where there is none.

    >>> listed(("U1", "U2", "U3"), "list_none"), listed((), "list_none")
    ('U1, U2 and U3', 'none')
    """
    kept = tuple(names)
    return text("list", names=kept) if kept else text(otherwise)


def tongue() -> Tongue:
    """The reader's language."""
    return TONGUES[wording.reader().language]
