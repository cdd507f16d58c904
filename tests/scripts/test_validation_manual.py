"""The validation manual names every test of tests/validation with what it promises."""

from __future__ import annotations

import ast

import pytest
from validation_manual import BOOK, TESTS, one_line, promises


@pytest.mark.parametrize("path", sorted((TESTS / "validation").glob("test_*.py")), ids=lambda p: p.stem)
def test_the_manual_is_up_to_date(path):
    """Run `python scripts/validation_manual.py` when this fails."""
    book = BOOK.read_text(encoding="utf-8")
    assert path.name in book
    for test in promises(ast.parse(path.read_text(encoding="utf-8"))):
        assert one_line(ast.get_docstring(test)) in book, test.name
