"""The terminal job with the stand-in of a chart file of one's own: nothing shipped has a part in it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from librarian.cli.exits import Exit

CHARTS = Path(__file__).parents[1] / "chart" / "published" / "charts"


@pytest.mark.parametrize("name", ["corbelstone", "sallowfen", "pennywhin", "halfpenny"])
def test_the_whole_job_with_a_chart_of_ones_own(run, name):
    chart = CHARTS / f"{name}.toml"
    assert run("capture", "First light", "--embedded", "--instrument", chart).code == Exit.OK
    assert run("recall", "First light", "--embedded").code == Exit.OK
    assert run("verify", "First light", "--embedded").code == Exit.OK
    assert "First light" in run("find").out


def test_a_chart_that_was_written_further_is_taken_anew(run, tmp_path):
    own = Path(shutil.copy(CHARTS / "halfpenny.toml", tmp_path / "own.toml"))
    assert run("capture", "Before", "--embedded", "--instrument", own, "--json").answer["of"] == 4
    text = own.read_text(encoding="utf-8")
    text = text.replace('id = "x.kind"', 'id = "x.shape"').replace('"x.kind" =', '"x.shape" =')
    own.write_text(text, encoding="utf-8")
    assert run("capture", "After", "--embedded", "--instrument", own).code == Exit.OK
    assert "x.shape" in run("show", "After", "--json").out
    listed = run("instrument", "list", "--json").answer["instruments"]
    assert len(listed) == 1


def test_what_is_neither_shipped_nor_a_file_is_said(run):
    found = run("capture", "--embedded", "--instrument", "nobodys.toml")
    assert found.code == Exit.COULD_NOT
    assert "no chart file either" in found.err


STORED = """
id = "stored"
name = "Stored"
section = [{ id = "tone", label = "Tone" }]
parameter = [{ id = "tone.pitch", label = "Pitch", section = "tone", range = [0, 127] }]
[identity]
manufacturer = "7D"
[memory]
programs = 8
display = "from_one"
[message.program]
kind = "program"
request = "F0 7D 10 {program} F7"
answer = "F0 7D 11 {program} {sound} F7"
parts.sound = { is = "data", layout = "panel" }
[layout.panel]
fields = ["tone.pitch"]
"""


def test_a_stored_program_is_captured_where_the_edit_buffer_cannot_be_asked_for(run, tmp_path):
    own = tmp_path / "stored.toml"
    own.write_text(STORED, encoding="utf-8")
    refused = run("capture", "--embedded", "--instrument", own)
    assert refused.code == Exit.COULD_NOT
    assert "only for the programs of its memory" in refused.err
    answer = run("capture", "Third", "--program", "3", "--embedded", "--instrument", own, "--json").answer
    assert (answer["known"], answer["patch"]["name"]) == (1, "Third")
    origin = run("versions", "Third", "--json").answer["versions"][0]
    assert "program 3" in str(origin)
    assert run("capture", "--program", "9", "--embedded", "--instrument", own).code == Exit.COULD_NOT
    assert run("capture", "--program", "1", "--way", "dump", "--embedded", "--instrument", own).code != Exit.OK
