"""What several files of one folder share is made once: a cache of the answers about the last thing asked about, as long as that lives."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

Answer = TypeVar("Answer")


def cached(make: Callable[..., Answer]) -> Callable[..., Answer]:
    """`make` with a cache for the last first argument (one that never changes, such as an assessment); answers must not be changed.

    The cache belongs to the function and holds the argument weakly: nothing is written into it, and it is freed as if never asked about.

    >>> class Tree: pass
    >>> count = cached(lambda tree, word: [word])
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
