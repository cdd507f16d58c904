"""For whom are data files written? For programs: their sentences are the same for every reader, in English,
metres and UK words first."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

from treescan.outputs.text.wording import written_for
from treescan.reader_settings import ReaderSettings

Answer = TypeVar("Answer")


def for_programs(make: Callable[..., Answer]) -> Callable[..., Answer]:
    """A maker of a data file's content that writes alike whatever reader is set where it is called."""

    @wraps(make)
    def written(*given: Any) -> Answer:
        with written_for(ReaderSettings()):
            return make(*given)

    return written
