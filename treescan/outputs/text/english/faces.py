"""English sentences and words of `faces`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {}
WORDS: dict[str, str] = {}
