"""English sentences and words of `cloud`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {}
WORDS: dict[str, str] = {}
