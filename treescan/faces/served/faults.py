"""What is said at the page of a fault nobody foresaw? One sentence, and where the log lies."""

from __future__ import annotations

from treescan.faces.guard.last_net import told


def sentence_of(err: BaseException) -> str:
    """The fault as a sentence; its log is written."""
    return told(err, ["serve"]).sentence()
