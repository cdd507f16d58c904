"""English sentences and words of `data`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {}
WORDS: dict[str, str] = {}
