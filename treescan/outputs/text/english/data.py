"""English sentences and words of `data`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    "own_words": "{words}",
}
WORDS: dict[str, str] = {}
