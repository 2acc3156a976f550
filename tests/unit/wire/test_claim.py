"""One conversation at a time with an instrument, among all programs that can reach it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from librarian.chart import load, shipped
from librarian.transfer import capture, listen
from librarian.transfer.troubles import Busy
from librarian.wire.claim import Claim, Taken
from tests.simulated import world

_HOLDS = """
import sys
from pathlib import Path
from librarian.wire.claim import Claim
with Claim("pit", Path(sys.argv[1])).held("backup"):
    print("held", flush=True)
    sys.stdin.read()
"""


def other_program(folder: Path) -> subprocess.Popen[str]:
    """A process that holds the claim “pit” until its input ends."""
    one = subprocess.Popen(
        [sys.executable, "-c", _HOLDS, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert one.stdout is not None
    assert one.stdout.readline() == "held\n"
    return one


def test_another_program_is_named_and_holds_back_until_it_ends_however_it_ends(tmp_path: Path) -> None:
    for end in ("its input ends", "it is killed"):
        with other_program(tmp_path) as other:
            with pytest.raises(Taken) as taken, Claim("pit", tmp_path).held("capture"):
                pytest.fail("it was held twice")
            assert (taken.value.what, taken.value.process) == ("backup", other.pid)
            with Claim("another instrument", tmp_path).held("capture"):
                pass
            if end == "it is killed":
                other.kill()
        with Claim("pit", tmp_path).held("capture") as others:
            assert others


def test_what_another_program_did_since_is_told_once(tmp_path: Path) -> None:
    mine, theirs = Claim("pit", tmp_path), Claim("pit", tmp_path)
    seen = []
    for claim in (mine, mine, theirs, mine, mine):
        with claim.held("capture") as others:
            seen.append(others)
    assert seen == [False, False, True, True, False]


def test_without_a_folder_nobody_is_held_back(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder", encoding="utf-8")
    with Claim("pit", tmp_path / "file").held("capture") as others:
        assert not others


def test_a_conversation_says_who_holds_the_instrument_and_listening_goes_on(tmp_path: Path) -> None:
    one = world(load(shipped()["fogbell"]))
    one.line.claim = Claim("pit", tmp_path)
    assert capture(one.line).known == 22
    assert one.line.known() is not None
    with other_program(tmp_path) as other:
        with pytest.raises(Busy, match=rf"backup is under way on .*, process {other.pid}") as busy:
            capture(one.line)
        assert "cancel it there" in busy.value.hint
        assert list(listen(one.line, 0.1)) == []
        assert one.line.busy_with == ""
    sent = one.cable.counts().bytes_out
    assert capture(one.line).known == 22
    assert one.cable.counts().bytes_out > sent, "another program may have changed it: it is read again"
