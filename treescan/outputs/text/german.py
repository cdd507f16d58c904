"""German: the commonest sentences, to show that a language is one table. What is missing here is said in English."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    "list_more": "{n} weitere",
}
WORDS: dict[str, str] = {
    "and": "und",
    "or": "oder",
}
