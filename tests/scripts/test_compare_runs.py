"""Two results are called the same only where every number is."""

from __future__ import annotations

from compare_runs import differences


def test_numbers_identifiers_and_missing_keys_are_differences_and_words_are_not():
    """A changed number, an identifier and a lost key are named; another sentence and a new key are not."""
    old = {"a": 1.0, "b": [1.0, 2.0], "union": "U1", "words": "It holds well.", "reasons": ["It holds."], "lost": 3}
    new = {"a": 1.0 + 1e-8, "b": [1.0, 2.1], "union": "U2", "words": "It may hold.", "reasons": ["It holds.", "Look."], "new": 1}

    found = {d.place for d in differences("anchors.json", old, new, 1e-6)}

    assert found == {".b[1]", ".union", ".lost"}


def test_a_list_of_another_length_is_a_difference():
    """Anchors that come or go are never overlooked."""
    assert [d.place for d in differences("anchors.json", {"anchors": [{"rank": 1}]}, {"anchors": []}, 1e-6)] == [".anchors[]"]
