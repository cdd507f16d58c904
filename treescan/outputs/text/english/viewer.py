"""English words of the 3-D view, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    "viewer_tag": "Candidate {rank:n}, {label}, {height:m} up: show it",
}
WORDS: dict[str, str] = {}
