"""What is said of the job: the command line goes before the tree's record, the record before the settings file."""

from __future__ import annotations

from pathlib import Path

import pytest

from treescan.assess import Settings
from treescan.errors import BadInput
from treescan.faces.cli.request import JobFields
from treescan.faces.user_files.job_fields import read_record, with_job
from treescan.reader_settings import JobSettings
from treescan.settings import merged


@pytest.fixture
def inventory(tmp_path: Path) -> Path:
    path = tmp_path / "trees.csv"
    path.write_text(
        "tree_id,x,y,Client,location,scan_date\nQG-07,1.0,2.0,Parish of Quillmoor,Quillmoor Green,12 March\nQG-08,5.0,2.0,,Saltery Row,\n"
    )
    return path


def test_the_record_of_the_tree_fills_what_the_command_line_leaves_open(inventory: Path) -> None:
    """Client and site come from the record, the planner from the settings, the scan date from the command line."""
    settings = merged(Settings(), {"job": {"planner": "A. Planner", "client": "somebody else"}})
    given = JobFields(tree="QG-07", scan_date="14 March", dossier=True).given()
    job = with_job(settings, given, inventory).job
    assert job == JobSettings("Parish of Quillmoor", "Quillmoor Green", "QG-07", "14 March", "A. Planner", "", True)


def test_an_empty_cell_of_the_record_changes_nothing(inventory: Path) -> None:
    """What the record leaves open stays as the settings have it."""
    settings = merged(Settings(), {"job": {"client": "Parish of Quillmoor"}})
    assert with_job(settings, {"tree": "QG-08"}, inventory).job == JobSettings("Parish of Quillmoor", "Saltery Row", "QG-08")


@pytest.mark.parametrize(("number", "words"), [("", "needs the number"), ("QG-09", "holds 0 records of tree 'QG-09'")])
def test_a_record_is_found_by_its_number_or_refused(inventory: Path, number: str, words: str) -> None:
    """One sentence where the record is not there."""
    with pytest.raises(BadInput, match=words):
        read_record(inventory, number)


def test_nothing_said_leaves_every_field_blank() -> None:
    """Without options, record and settings the sheet's head stays open."""
    assert with_job(Settings(), JobFields().given(), None).job == JobSettings()
