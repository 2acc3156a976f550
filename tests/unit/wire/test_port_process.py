"""The port process on a machine without a MIDI server: it says so, stays quiet, and goes when it shall."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from librarian.wire.cable import NoMidiSystem
from librarian.wire.ports import Port
from librarian.wire.process import PortProcess

OUTPUT, SOURCE = Port("jack", "out", "Fogbell IN:midi"), Port("jack", "in", "Fogbell OUT:midi")


def until_alive(process: PortProcess, starts: int) -> None:
    give_up = time.monotonic() + 20
    while not (process.system().alive and process.starts >= starts):
        assert time.monotonic() < give_up
        time.sleep(0.01)


def test_without_a_midi_system_the_program_is_told_why() -> None:
    with PortProcess() as process:
        assert process.ports(wait_s=20.0) == ()
        state = process.system()
        assert (state.apis, state.alive) == ((), True)
        assert state.sentence.startswith("No MIDI system found: ")
        assert "no JACK server is running" in state.sentence
        for act in (lambda: process.open(OUTPUT, SOURCE), lambda: process.open_virtual("Fogbell")):
            with pytest.raises(NoMidiSystem, match="No MIDI system found") as problem:
                act()
            assert "Files and the stand-ins work without one" in problem.value.hint
    assert process.system().sentence == "The program has closed its ports."


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals")
@pytest.mark.parametrize("number", ["SIGKILL", "SIGSTOP"])
def test_a_process_that_ends_or_stops_is_replaced(number: str) -> None:
    with PortProcess() as process:
        until_alive(process, 1)
        before = process.pid
        assert before is not None
        os.kill(before, getattr(signal, number))
        while process.system().alive:
            time.sleep(0.005)
        until_alive(process, 2)
        assert process.pid != before
        assert not Path(f"/proc/{before}").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals")
def test_ctrl_c_is_the_programs_to_answer() -> None:
    with PortProcess() as process:
        until_alive(process, 1)
        before = process.pid
        assert before is not None
        os.kill(before, signal.SIGINT)
        time.sleep(0.3)
        assert (process.pid, process.starts, process.system().alive) == (before, 1, True)


def test_nothing_waits_for_the_ports_that_does_not_want_to(monkeypatch: pytest.MonkeyPatch) -> None:
    waits: list[float | None] = []
    with PortProcess() as process:
        monkeypatch.setattr(process._listed, "wait", waits.append)
        process.ports(wait_s=0.0)
        process.system()
    assert waits == [0.0]
    process.close()


def test_the_person_sees_nothing_of_what_the_drivers_print() -> None:
    program = "from librarian.wire.process import PortProcess\nwith PortProcess() as one: one.ports(20.0)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=60, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def test_modules_of_the_working_folder_are_not_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "librarian").mkdir()
    (tmp_path / "struct.py").write_text("raise SystemExit('a foreign module was taken')", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with PortProcess() as process:
        process.ports(wait_s=20.0)
        assert process.system().alive


def test_a_missing_system_library_is_explained(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a bare Debian: the MIDI library needs libasound.so.2, and without it its import fails."""
    trouble = "libasound.so.2: cannot open shared object file: No such file or directory"
    (tmp_path / "rtmidi").mkdir()
    (tmp_path / "rtmidi" / "__init__.py").write_text(f"raise ImportError({trouble!r})", encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with PortProcess() as process:
        assert process.ports(wait_s=20.0) == ()
        assert process.system().sentence == f"No MIDI system found: the MIDI library could not be loaded ({trouble})."
        with pytest.raises(NoMidiSystem, match=r"libasound\.so\.2"):
            process.open_virtual("Fogbell")
