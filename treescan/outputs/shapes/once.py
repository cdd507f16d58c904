"""What several files of one folder are made from is made once: answers are kept for the last thing asked about, as long as it lives."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

Answer = TypeVar("Answer")


def made_once(make: Callable[..., Answer]) -> Callable[..., Answer]:
    """`make` that remembers its answers for the last first argument (one that never changes, such as an assessment); do not change them.

    >>> class Tree: pass
    >>> count = made_once(lambda tree, word: [word])
    >>> tree = Tree()
    >>> count(tree, "a") is count(tree, "a"), count(tree, "a") is count(Tree(), "a")
    (True, False)
    """
    about: list[weakref.ref[Any]] = []
    answers: dict[tuple[Any, ...], Answer] = {}

    @wraps(make)
    def remembering(of: Any, *more: Any) -> Answer:
        if not about or about[0]() is not of:
            answers.clear()
            about[:] = [weakref.ref(of, lambda _: answers.clear())]
        if more not in answers:
            answers[more] = make(of, *more)
        return answers[more]

    return remembering
