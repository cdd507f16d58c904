"""English sentences and words of `throw`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {}
WORDS: dict[str, str] = {
    "hand": "one hand",
    "two_hand": "both hands, swung between the legs",
    "launcher": "launcher",
}
