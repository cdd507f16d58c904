"""The city's map in a browser, its work packages, and its rows in every format."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
from pdf_measures import measured
from pyproj import CRS

from treescan.outputs.city.city_files import CityMap, package_bytes, parquet_bytes
from treescan.outputs.city.city_page import page_html
from treescan.outputs.city.city_rows import FAILED, MISSING, PLANNED, CityTree, city_layers, tree_rows
from treescan.outputs.city.work_packages import TOGETHER, packages, sheet_bytes
from treescan.reason import Reason
from treescan.trees.census.look_through import FoundTree
from treescan.trees.census.triage import triage

CORNER = np.array([300_000.0, 60_000.0])
NAN = float("nan")


def city_tree(n: int, x: float, y: float, climbs: int, spacing: float = 0.02, **more: Any) -> CityTree:
    """A tree that was found; with climbs it is planned."""
    place = (CORNER[0] + x, CORNER[1] + y, 20.0)
    found = FoundTree(place, 9.0, 0.3, 6.0, 2.5, 3.0, spacing, 5000, False, 0.05, 4.0 if n == 1 else NAN, NAN)
    figures = {"ranked": 2, "climbs": climbs, "rope_m": 30.0, "launcher": n == 2, "first_union": "U1", "height_m": 9.0}
    plan = {"figures": figures, "layers": {}} if climbs else {}
    record = {"inv_id": f"K-{n}", "species": ("oak", "lime")[n % 2], "address": "", "client": "", "target_use": ""}
    return CityTree(f"K-{n}", place, found, triage(found), record, "by place", 0.4, state=PLANNED if climbs else "not planned", plan=plan, **more)


@pytest.fixture(scope="module")
def city() -> tuple[CityTree, ...]:
    """Planned, sparse, failed and missing trees."""
    failed = city_tree(4, 30, 30, 0)
    return (
        *(city_tree(n, 12.0 * n, 5.0, 2, doubts=(Reason("inventory_no_id"),) if n == 3 else ()) for n in (1, 2, 3)),
        city_tree(5, 0, 40, 0, spacing=0.6),
        CityTree("K-4", failed.place, failed.found, failed.triage, failed.record, state=FAILED, said=("K-4: it failed.",)),
        CityTree("R6", None, record={"inv_id": "K-6", "species": "lime"}, state=MISSING, said=(Reason("record_without_place"),)),
    )


WIRES = [((CORNER[0], CORNER[1] + 20, 28.0), (CORNER[0] + 40, CORNER[1] + 22, 28.0))]


def test_filters_table_and_links_of_the_map(city: tuple[CityTree, ...], browser: Any, tmp_path: Path) -> None:
    """Every filter acts on map and table alike, a click tells the tree's findings and its report, a head sorts; nothing is fetched, no fault is raised."""
    page_file = tmp_path / "city.html"
    page_file.write_text(page_html(city, tree_rows(city), packages(city), WIRES, "EPSG:32118"), encoding="utf-8")
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    faults, asked = [], []
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.on("request", lambda r: asked.append(r.url))
    page.goto(page_file.as_uri())

    def shown() -> tuple[int, int]:
        return page.locator("#map circle:not(.gone)").count(), page.locator("#table tbody tr").count()

    assert shown() == (5, 6) and page.locator("#map line").count() == 1
    for select, value, circles, rows in (
        ("f_fit", "full plan", 4, 4),
        ("f_fit", "height, crown and position only", 1, 1),
        ("f_state", "planned", 3, 3),
        ("f_state", "not found", 0, 1),
        ("f_species", "lime", 3, 4),
        ("f_package", "1", 2, 2),
        ("f_launcher", "true", 1, 1),
    ):
        page.select_option(f"#{select}", value)
        assert shown() == (circles, rows), (select, value)
        page.click("button[type=reset]")
        page.wait_for_function("document.querySelectorAll('#table tbody tr').length === 6")
    page.fill("#f_text", "k-5")
    assert shown() == (1, 1)
    page.fill("#f_text", "")
    page.locator("#map circle[aria-label^='K-3']").click()
    about = page.inner_text("#about")
    assert about.startswith("K-3 / K-3: full plan") and page.get_attribute("#about a", "href") == "trees/K-3/report.html"
    assert page.locator("#about li").count() == len(set(page.locator("#about li").all_inner_texts())) >= 1
    page.click("th button:has-text('Tree')")
    assert page.inner_text("#table tbody tr:first-child td:first-child") == "R6"
    assert page.inner_text("#bar_words").endswith(" m") and page.locator("#bar").bounding_box()["width"] <= 151
    assert faults == [] and all(url.startswith(("file:", "data:")) for url in asked)
    page.close()


def test_every_tree_of_a_large_city_is_in_one_package_near_its_mates(city: tuple[CityTree, ...]) -> None:
    """More trees than are planned together: each once, no day above four climbs, a day's trees near one another; and the order of the rows
    does not matter."""
    rng = np.random.default_rng(3)
    many = [city_tree(n, *rng.uniform(0, 900, 2), 1 + n % 2) for n in range(TOGETHER + 500)]
    made = packages(many)
    names = [t.name for day in made for t in day.trees]
    assert sorted(names) == sorted(t.name for t in many)
    assert max(sum(t.plan["figures"]["climbs"] for t in day.trees) for day in made) <= 4
    steps = [np.hypot(a.place[0] - b.place[0], a.place[1] - b.place[1]) for day in made for a, b in zip(day.trees, day.trees[1:], strict=False)]
    assert np.median(steps) < 30.0
    assert packages(many[::-1]) == made


@pytest.mark.parametrize("field", ["species", "address"])
def test_a_record_longer_than_a_page_is_printed_whole(tmp_path: Path, field: str) -> None:
    """What somebody wrote in an inventory has no most length: every word stands in the packages' pages once."""
    tree, said = city_tree(1, 0.0, 0.0, 1), [f"word{n}" for n in range(3000)]
    tree = replace(tree, record={**tree.record, field: " ".join(said)})
    printed = Counter(w.word.strip(",") for page in measured(sheet_bytes(packages((tree,))), tmp_path / "p.pdf") for w in page.words)
    assert [printed[word] for word in said] == [1] * len(said)


def test_the_same_field_has_the_same_name_type_and_value_in_every_format(city: tuple[CityTree, ...], tmp_path: Path) -> None:
    """GeoPackage and GeoParquet: fields, whole numbers, identifiers in every layer of trees, the code of the system, feet where the clouds are in
    feet."""
    layers = city_layers(city, WIRES)
    assert {layer.name for layer in layers} == {"trees", "triage", "wires"}
    for on, scale in ((CityMap(CRS.from_epsg(32118)), 1.0), (CityMap(CRS.from_epsg(2263), 3937 / 1200), 3937 / 1200)):
        file = tmp_path / "city.gpkg"
        file.write_bytes(package_bytes(layers, on))
        for layer in layers:
            (tmp_path / "l.parquet").write_bytes(parquet_bytes(layer, on))
            a, b = geopandas.read_file(file, layer=layer.name), geopandas.read_parquet(tmp_path / "l.parquet")
            assert list(a.columns) == list(b.columns) and len(a) == len(b)
            assert a.crs.to_epsg() == b.crs.to_epsg() == on.system.to_epsg()
            assert layer.name == "wires" or list(a["tree"]) == list(b["tree"]) == [t.name for t in city]
            for name, kind in layer.kinds.items():
                if kind == "whole":
                    assert str(b[name].dtype) == "Int64" and set(a[name].dropna() % 1) <= {0}
                if kind == "text":
                    assert list(a[name].fillna("")) == list(b[name].fillna(""))
        first = geopandas.read_file(file, layer="trees").geometry.iloc[0]
        assert first.x == pytest.approx((CORNER[0] + 12.0) * scale, abs=0.001) and first.z == pytest.approx(20.0)
