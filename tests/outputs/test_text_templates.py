"""A template says what its values are, in the reader's units, words and language."""

from __future__ import annotations

import math
import pickle

import pytest

from treescan.outputs.text.templates import Tongue, names_in
from treescan.outputs.text.wording import ReaderSettings, written_for
from treescan.reason import Reason, has

TONGUE = Tongue(
    {
        "thin": "The limb is {size:cm} thick[, {away:m} from the rope].",
        "throws": "{n:n} {n|throw sets|throws set} the line.",
        "over": "It runs over {unions:names}.",
        "fork": "Look at the <fork|crotch>[{?basal}, and at the base].",
        "inner": "Not seen: {why}",
        "list_more": "{n} more",
    },
    {"bending": "in bending", "wedge": "a wedge <fork|crotch>"},
)


def test_a_figure_is_written_in_both_systems_and_a_part_that_is_not_known_is_left_out():
    """`[...]` vanishes with the value it holds."""
    assert TONGUE.render("thin", {"size": 0.21, "away": 1.5}) == "The limb is 21 cm (8.3 in) thick, 1.5 m (4.9 ft) from the rope."
    assert TONGUE.render("thin", {"size": 0.21, "away": None}) == "The limb is 21 cm (8.3 in) thick."
    assert TONGUE.render("thin", {"size": 0.21, "away": math.nan}) == "The limb is 21 cm (8.3 in) thick."


def test_a_text_never_prints_a_hole():
    """A value that the text cannot do without raises instead of printing nothing."""
    with pytest.raises(ValueError, match="thin"):
        TONGUE.render("thin", {"size": None, "away": 1.0})


def test_plurals_lists_and_countries():
    """One throw sets, two set; long lists are counted; UK and US words stand side by side in the template."""
    assert TONGUE.render("throws", {"n": 1}) == "1 throw sets the line."
    assert TONGUE.render("throws", {"n": 1200}) == "1,200 throws set the line."
    assert TONGUE.render("over", {"unions": ("U1", "U2")}) == "It runs over U1 and U2."
    assert TONGUE.render("over", {"unions": tuple(f"U{i}" for i in range(9))}) == "It runs over U0, U1, U2, U3, U4 and 4 more."
    with written_for(ReaderSettings(words="US", units="imperial")):
        assert TONGUE.render("fork", {"basal": True}) == "Look at the crotch, and at the base."
        assert TONGUE.word("wedge") == "a wedge crotch"
        assert TONGUE.render("thin", {"size": 0.21, "away": None}) == "The limb is 8.3 in (21 cm) thick."
    assert TONGUE.render("fork", {"basal": False}) == "Look at the fork."


def test_a_persons_words_stay_letter_for_letter():
    """Brackets, braces and trade words inside a value are never read as a template."""
    assert TONGUE.render("inner", {"why": "beech fork [left] {sic} <a|b>"}) == "Not seen: beech fork [left] {sic} <a|b>"


def test_the_values_of_a_template_can_be_listed():
    """Flags, plurals and optional parts included."""
    assert names_in(TONGUE.texts["fork"]) == {"basal"}
    assert names_in(TONGUE.texts["thin"]) == {"size", "away"}


def test_a_reason_is_its_code_and_values():
    """Equal, hashable, pickled and asked for by code."""
    a, b = Reason("list_more", n=3), Reason("list_more", n=3)
    assert a == b and hash(a) == hash(b) and a != Reason("list_more", n=4)
    assert pickle.loads(pickle.dumps(a)) == a
    assert has((a,), "list_more") and not has((a,), "other")
