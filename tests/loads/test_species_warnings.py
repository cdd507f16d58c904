"""Which kinds of tree warn, and that no stand-in is stronger than the weakest wood of its genus."""

import numpy as np
import pytest

from treescan.loads.material.species_warnings import WARNED, species_warnings
from treescan.loads.material.wood_names import meant
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.material.wood_table import green_wood
from treescan.loads.settings import LoadSettings
from treescan.outputs.text.say import say
from treescan.sources import SOURCES

SETTINGS = LoadSettings()


def _codes(name):
    return {(r.code, r.values.get("sickness")) for r in species_warnings(name)}


def _weakest_of(genus):
    """Straight from the table: the least stated strength of a genus. [Pa]"""
    return min((r.mor for r in green_wood() if r.botanical.lower().split()[0] == genus and np.isfinite(r.mor)), default=np.inf)


@pytest.mark.parametrize("name", ["evergreen oak", "Quercus frainetto", "Quercus lobata"])
def test_an_oak_without_a_row_has_the_weakest_oak(name):
    """42.7 MPa, the California black oak's."""
    assert wood_of(name, SETTINGS).mor == pytest.approx(42.7e6)


@pytest.mark.parametrize("name", ["Quercus ilex", "holm oak", "Quercus petraea", "Quercus suber"])
def test_a_dense_oak_of_europe_has_the_weakest_tested_oak_of_europe(name):
    """Basic density read, 0.56 to 0.82: no less than the northern red oak's, whose 57.2 MPa it gets; never the live oak's 82."""
    assert wood_of(name, SETTINGS).mor == pytest.approx(57.2e6)


@pytest.mark.parametrize("row", [r for r in green_wood() if r.use_also_for], ids=lambda r: r.botanical)
def test_no_stand_in_is_stronger_than_the_weakest_of_its_genus(row):
    """Every species any row is named to stand for, written out or abbreviated."""
    genus = ""
    for part in row.use_also_for.replace("(", ",").replace(";", ",").split(","):
        words = part.split()
        if len(words) < 2 or not words[0][0].isupper():
            continue
        genus = genus if words[0].endswith(".") else words[0]
        name = f"{genus} {' '.join(words[1:3] if words[1] == 'x' else words[1:2])}"
        if meant(name).how == "stand-in":
            assert wood_of(name, SETTINGS).mor <= _weakest_of(genus.lower())


def test_every_warning_has_a_known_source_and_a_sentence():
    """Common practice where there is no source; the sentence names the kind of tree and where the warning comes from."""
    for w in WARNED:
        assert w.source in SOURCES
        said = [say(r) for r in species_warnings(w.taxon)]
        assert any(w.taxon.capitalize() in s for s in said)
        assert all("practice, no source" in s or "read in the source" in s for s in said)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("common ash", {("species_dieback", "ash_dieback"), ("species_splits", None), ("species_drops_limbs", None)}),
        ("Fraxinus excelsior", {("species_dieback", "ash_dieback"), ("species_splits", None), ("species_drops_limbs", None)}),
        ("Lombardy poplar", {("species_brittle", None), ("species_splits", None), ("species_drops_limbs", None)}),
        ("sycamore", {("species_dieback", "sooty_bark"), ("species_dieback", "plane_massaria"), ("species_drops_limbs", None)}),
        ("beech", {("species_splits", None), ("species_drops_limbs", None), ("species_root_rot", None)}),
        ("Quercus robur", {("species_dieback", "oak_decline"), ("species_drops_limbs", None)}),
        ("Sorbus aucuparia", {("species_not_warned_of", None)}),
        ("no such tree", {("species_not_warned_of", None)}),
        (None, {("species_not_warned_of", None)}),
        ("hardwood", {("species_not_warned_of", None)}),
    ],
)
def test_what_a_kind_of_tree_warns_of(name, told):
    """By common and botanical names; a name of several genera warns of all of them, a genus of all its species."""
    assert _codes(name) == told
