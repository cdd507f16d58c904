"""A file beside tree.json with a value of the wrong kind is refused without the talk of a programming language."""

from __future__ import annotations

from treescan.errors import in_words


def test_a_value_of_the_wrong_kind_is_said_so():
    try:
        float(None)
    except TypeError as err:
        assert in_words(err) == "a wrong value"
