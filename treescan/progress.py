"""How long work reports itself: a plain callable, so that no room knows about terminals."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, float], None]
"""Called as ``progress(stage, share_done)`` with a share in [0, 1]; may raise KeyboardInterrupt to stop the work."""


def quiet(stage: str, share: float) -> None:
    """Report nothing."""
