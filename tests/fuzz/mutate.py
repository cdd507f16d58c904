"""One seeded change of a file: bytes, numbers, words, entries and nesting, as careless programs make them."""

from __future__ import annotations

import json
import random
import re
from typing import Any

ODD: tuple[Any, ...] = (
    None, True, 0, -1, 2**31, 2**63, 1e308, 9.2e18, float("nan"), float("inf"), "", "x", "²", "=1+1", "<script>", [], {}, [[]], [None], "\0", "-0", "1e400",
)  # fmt: skip
WORDS = (b"nan", b"inf", b"-1", b"1e308", b"", b"\xff\xfe", b"\0", b'"', b",", b"\n", b"[" * 3000, b"9" * 400, b"null", "²".encode())

NUMBER = re.compile(rb"-?\b\d{1,9}(?:\.\d{1,9})?\b")
MOST_SEARCHED = 200_000
"""Bytes at the start in which numbers are looked for."""
HEAD = 400
"""Bytes at the start of a packed file in which its head lies."""
NUMBERS = (b"\0\0\0\0", b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f", b"\0\0\0\x80", b"\1\0\0\0", b"\0\0\xf8\x7f", b"\0\0\xf0\x7f")


def mutated(data: bytes, seed: int) -> bytes:
    """The same bytes changed in one to three places; the same for the same seed."""
    chance = random.Random(seed)
    ways = (_entry, _entry, _number, _number, _number, _word, _bytes, _cut)
    if b"\0" in data[:HEAD]:
        ways = (_head, _head, _head, _word, _bytes, _cut)
    for _ in range(chance.randint(1, 3)):
        data = chance.choice(ways)(data, chance)
    return data


def _entry(data: bytes, chance: random.Random) -> bytes:
    """One entry of JSON replaced, taken out, doubled or nested; a word where it is no JSON."""
    try:
        whole = json.loads(data)
    except (ValueError, RecursionError):
        return _word(data, chance)
    at = whole
    for _ in range(chance.randint(0, 6)):
        inside = list(at.values()) if isinstance(at, dict) else at
        deeper = [v for v in inside if isinstance(v, (dict, list)) and v]
        if not deeper:
            break
        at = chance.choice(deeper)
    if not isinstance(at, (dict, list)) or not at:
        return json.dumps(chance.choice(ODD)).encode()
    key = chance.choice(list(at) if isinstance(at, dict) else range(len(at)))
    how = chance.randrange(4)
    if how == 0:
        del at[key]
    elif how == 1:
        at[key] = [at[key]]
    else:
        at[key] = chance.choice(ODD)
    return json.dumps(whole).encode()


def _number(data: bytes, chance: random.Random) -> bytes:
    """A number in text replaced by another that may well be meant."""
    found = list(NUMBER.finditer(data[:MOST_SEARCHED]))
    if not found:
        return _bytes(data, chance)
    at = chance.choice(found)
    value = float(at.group())
    new = chance.choice((0.0, -value, 10 * value, 0.1 * value, 100 * value, value + 1, value - 1, 1.5 * value, value + 1e-9, 1e5 * value))
    return data[: at.start()] + f"{new:.10g}".encode() + data[at.end() :]


def _word(data: bytes, chance: random.Random) -> bytes:
    """A few bytes replaced by a word."""
    k = chance.randrange(len(data) + 1)
    return data[:k] + chance.choice(WORDS) + data[k + chance.randint(0, 8) :]


def _bytes(data: bytes, chance: random.Random) -> bytes:
    """Some bytes changed."""
    held = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        if held:
            held[chance.randrange(len(held))] = chance.randrange(256)
    return bytes(held)


def _head(data: bytes, chance: random.Random) -> bytes:
    """A number in the head of a packed file replaced by an odd one, its length kept."""
    k = chance.randrange(min(len(data), HEAD) + 1)
    new = chance.choice((*NUMBERS, bytes([chance.randrange(256)])))
    return data[:k] + new + data[k + len(new) :]


def _cut(data: bytes, chance: random.Random) -> bytes:
    """A piece taken out."""
    k = chance.randrange(len(data) + 1)
    return data[:k] + data[k + chance.choice((1, 16, 1000, len(data))) :]
