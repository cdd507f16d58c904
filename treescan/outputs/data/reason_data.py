"""How do findings stand in a file? Each as its sentence for people, and beside it as code and values for
programs."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from treescan.outputs.strict_json import number, tame
from treescan.outputs.text.say import say
from treescan.reason import Reason

OWN_WORDS = "own_words"
"""Code of what a person wrote or said, kept letter for letter as the value `words`."""


def as_data(reason: Reason | str) -> dict[str, Any]:
    """A finding as strict JSON: {"code", "values"}, findings inside it likewise; figures in SI, what is not
    known as null.

    >>> as_data(Reason("list_more", n=3))
    {'code': 'list_more', 'values': {'n': 3}}
    >>> as_data("soft at the foot")
    {'code': 'own_words', 'values': {'words': 'soft at the foot'}}
    """
    if not isinstance(reason, Reason):
        return {"code": OWN_WORDS, "values": {"words": str(reason)}}
    return {"code": reason.code, "values": {name: _value(v) for name, v in reason.values.items()}}


def as_json(reasons: Iterable[Reason | str]) -> str:
    """Several findings as the text of a JSON list, for one cell of a table; "" for none.

    >>> as_json([Reason("list_more", n=3)]), as_json([])
    ('[{"code": "list_more", "values": {"n": 3}}]', '')
    """
    found = [as_data(r) for r in reasons]
    return json.dumps(found, allow_nan=False, ensure_ascii=False) if found else ""


def in_a_cell(name: str, reasons: Iterable[Reason | str]) -> dict[str, str]:
    """As `all_with_data`, for two cells of a table: sentences with bars between, and the JSON text.

    >>> in_a_cell("reasons", [Reason("list_more", n=3), Reason("list_more", n=4)])["reasons"]
    '3 more | 4 more'
    """
    found = tuple(reasons)
    return {name: " | ".join(say(r) for r in found), f"{name}_data": as_json(found)}


def _value(value: Any) -> Any:
    if isinstance(value, Reason):
        return as_data(value)
    if isinstance(value, (tuple, list)):
        return [_value(v) for v in value]
    return number(value) if isinstance(value, float) else tame(value)


def with_data(name: str, reason: Reason | str | None) -> dict[str, Any]:
    """One field of a file as its sentence, and as data in a field beside it; both null where there is
    nothing to say.

    >>> with_data("reason", Reason("list_more", n=3))
    {'reason': '3 more', 'reason_data': {'code': 'list_more', 'values': {'n': 3}}}
    """
    return (
        {name: say(reason), f"{name}_data": as_data(reason)} if reason else {name: None, f"{name}_data": None}
    )


def all_with_data(name: str, reasons: Iterable[Reason | str]) -> dict[str, Any]:
    """As `with_data` for a list: the n-th entry of the field beside it is the n-th sentence as data.

    >>> all_with_data("reasons", [Reason("list_more", n=3)])
    {'reasons': ['3 more'], 'reasons_data': [{'code': 'list_more', 'values': {'n': 3}}]}
    """
    found = tuple(reasons)
    return {name: [say(r) for r in found], f"{name}_data": [as_data(r) for r in found]}


def as_one_text(name: str, reasons: Iterable[Reason | str]) -> dict[str, Any]:
    """As `all_with_data`, with all sentences as one text.

    >>> as_one_text("words", [Reason("list_more", n=3)])
    {'words': '3 more', 'words_data': [{'code': 'list_more', 'values': {'n': 3}}]}
    """
    found = tuple(reasons)
    return {name: " ".join(say(r) for r in found), f"{name}_data": [as_data(r) for r in found]}
