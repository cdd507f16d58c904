"""Text clouds: the layout is found, the numbers are exact."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from written_clouds import bush

from treescan.cloud.read import read_cloud
from treescan.cloud.text_formats.number_text import Layout, parsed
from treescan.errors import BadInput
from treescan.reason import has

ROWS = [(1.5, -2.25, 3.125), (4.0, 5.5, 0.001), (-7.0, 8.0, 12.5)]

LAYOUTS = {
    "blanks": "{x} {y} {z}",
    "tabs": "{x}\t{y}\t{z}",
    "many blanks": "   {x}     {y}\t {z}  ",
    "commas": "{x},{y},{z}",
    "commas and blanks": "{x}, {y}, {z}",
    "semicolons": "{x};{y};{z}",
    "quoted": '"{x}","{y}","{z}"',
    "further columns": "{x} {y} {z} 0.5 tree 7",
}


@pytest.mark.parametrize("name", LAYOUTS)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_layouts_are_recognised(tmp_path, name, end):
    """Delimiters, blanks, quotes and all three kinds of line end."""
    path = tmp_path / "a.txt"
    path.write_bytes(end.join(LAYOUTS[name].format(x=x, y=y, z=z) for x, y, z in ROWS).encode())

    assert read_cloud(path).xyz.tolist() == [list(r) for r in ROWS]


@pytest.mark.parametrize("delimiter", [";", " ", "\t"])
def test_a_decimal_comma_is_read_where_it_is_unambiguous(tmp_path, delimiter):
    """1,5;-2,25;3,125 holds three numbers, with a note; split at commas it would hold six."""
    path = tmp_path / "a.csv"
    path.write_text("\n".join(delimiter.join(str(float(v)).replace(".", ",") for v in r) for r in ROWS))

    cloud = read_cloud(path)

    assert cloud.xyz.tolist() == [list(r) for r in ROWS]
    assert has(cloud.notes, "decimal_comma")


HEADERS = {
    "x,y,z": "{x},{y},{z}",
    "id,X [m],Y [m],Z [m]": "17,{x},{y},{z}",
    "Northing;Easting;Height": "{y};{x};{z}",
    "z x y": "{z} {x} {y}",
    "//X Y Z R G B": "{x} {y} {z} 1 2 3",
    "# Z,Y,X": "{z},{y},{x}",
    "\ufeffx,y,z": "{x},{y},{z}",
}


@pytest.mark.parametrize("header", HEADERS)
def test_a_header_line_names_the_columns(tmp_path, header):
    """Names decide the order of columns, in a plain line or a comment, with units and a byte order mark."""
    path = tmp_path / "a.csv"
    path.write_text("\n".join([header, *(HEADERS[header].format(x=x, y=y, z=z) for x, y, z in ROWS)]), encoding="utf-8")

    cloud = read_cloud(path)

    assert cloud.xyz.tolist() == [list(r) for r in ROWS]
    assert not has(cloud.notes, "lines_skipped")


def test_columns_with_names_are_kept(tmp_path):
    """Intensity, class and colour by name; colour without names by its position and range."""
    named, bare = tmp_path / "a.csv", tmp_path / "b.pts"
    named.write_text("x,y,z,intensity,classification,r,g,b\n1,2,3,0.5,4,10,20,30\n2,3,4,0.25,5,11,21,31\n")
    bare.write_text("2\n1 2 3 -1200 10 20 30\n2 3 4 -900 11 21 31\n")

    one, two = read_cloud(named), read_cloud(bare)

    assert one.columns["class"].tolist() == [4, 5]
    assert one.columns["intensity"].tolist() == [0.5, 0.25]
    assert one.columns["red"].tolist() == two.columns["red"].tolist() == [10, 11]
    assert two.columns["intensity"].tolist() == [-1200, -900]


def test_comments_and_blank_lines_are_passed_over(tmp_path):
    path = tmp_path / "a.xyz"
    path.write_text("# by hand\n\n1 2 3\n% half way\n4 5 6\n! nearly\n\n// end\n7 8 9\n\n")

    cloud = read_cloud(path)

    assert cloud.xyz.tolist() == [[1, 2, 3], [4, 5, 6], [7, 8, 9]]
    assert not has(cloud.notes, "lines_skipped")


def test_a_reference_in_a_comment_is_used(tmp_path):
    """ "# EPSG:25832" names the map."""
    path = tmp_path / "a.xyz"
    path.write_text("# EPSG:25832\n" + "\n".join(f"{x + 500_000} {y + 5_200_000} {z}" for x, y, z in ROWS))

    assert read_cloud(path).frame.crs == "EPSG:25832"


def test_a_point_number_is_not_a_coordinate(tmp_path):
    """A first column that counts up is left aside, with a note."""
    xyz = bush(50)
    path = tmp_path / "a.txt"
    path.write_text("\n".join(f"{i + 1} {x} {y} {z}" for i, (x, y, z) in enumerate(xyz.tolist())))

    cloud = read_cloud(path)

    assert np.array_equal(xyz, cloud.xyz)
    assert has(cloud.notes, "point_number_column")


def test_counts_of_several_scans_are_added_up(tmp_path):
    """A PTS file may hold scans one after the other, each with its count; a missing point is noticed."""
    path = tmp_path / "a.pts"
    path.write_text("2\n1 2 3\n4 5 6\n1\n7 8 9\n")
    assert len(read_cloud(path)) == 3

    path.write_text("2\n1 2 3\n4 5 6\n2\n7 8 9\n")
    with pytest.raises(BadInput, match="claims 4 points but holds 3"):
        read_cloud(path)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False, width=64, min_value=-1e12, max_value=1e12), min_size=3, max_size=3))
def test_numbers_are_read_to_the_last_digit_but_one(values):
    """Any length from a nanometre up comes back within two units in its last place; up to 15 digits it comes back exactly."""
    values = [v if abs(v) > 1e-9 else 0.0 for v in values]
    row = parsed((" ".join(repr(v) for v in values) + "\n").encode(), Layout(" ", ".", (0, 1, 2))).values[0]
    short = [float(f"{v:.15g}") for v in values if abs(v) > 1e-5 or v == 0]
    padded = [*short, 0.0, 0.0, 0.0][:3]
    again = parsed((" ".join(f"{v:.15g}" for v in padded) + "\n").encode(), Layout(" ", ".", (0, 1, 2))).values[0]

    assert (np.abs(row - values) <= 2 * np.spacing(np.abs(values))).all()
    assert again.tolist() == padded


@pytest.mark.parametrize("text", ["1e3", "1.5E-2", "+7", "-0.25", ".5", "5.", "1d2", "00012.50", "123456789012345678901234567890"])
def test_numbers_in_every_spelling(text):
    """Exponents, signs, bare points, Fortran's d and more digits than fit."""
    value = parsed(f"{text} 0 0\n".encode(), Layout(" ", ".", (0, 1, 2))).values[0, 0]

    assert value == pytest.approx(float(text.replace("d", "e")), rel=1e-15)


@pytest.mark.parametrize("text", ["1.2.3", "1e", "--1", "12a", "0x10", "1,5"])
def test_what_is_no_number_is_no_point(text):
    """Words and half numbers make a bad line, never a wrong coordinate."""
    rows = parsed(f"{text} 0 0\n".encode(), Layout(" ", ".", (0, 1, 2)))

    assert len(rows.values) == 0
    assert rows.bad == 1


def test_blocks_of_text_join_without_a_seam(tmp_path, monkeypatch):
    """A line across two blocks is one line."""
    xyz = bush(1000)
    path = tmp_path / "a.xyz"
    path.write_text("\n".join(f"{x} {y} {z}" for x, y, z in xyz.tolist()))
    monkeypatch.setattr("treescan.cloud.text_formats.number_text.BLOCK", 1997)

    assert np.array_equal(xyz, read_cloud(path).xyz)
