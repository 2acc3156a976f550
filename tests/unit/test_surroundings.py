"""What the tests stand on: private JACK servers, and the search for processes that a run left behind."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import uuid
from pathlib import Path

import pytest

from librarian import shipped
from tests import leftovers
from tests.jackd import JackServer, bound

OPEN_A_PORT = "import os, rtmidi, sys; m = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=f'neighbour-{os.getpid()}'); "
PORT = OPEN_A_PORT + "m.open_virtual_port('here'); print('open', flush=True); sys.stdin.read()"
LIST = "import os, rtmidi; print(rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=f'looker-{os.getpid()}').get_ports())"


def ports_seen(environment: dict[str, str]) -> str:
    return subprocess.run(
        [sys.executable, "-c", LIST],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=30,
        check=True,
    ).stdout


@pytest.mark.jack
def test_a_port_on_the_private_server_is_seen_there_and_there_only(jack_server: JackServer):
    with subprocess.Popen(
        bound([sys.executable, "-c", PORT]),
        env={**os.environ, **jack_server.environment},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as neighbour:
        assert neighbour.stdout is not None
        assert neighbour.stdout.readline() == b"open\n"
        assert "neighbour" in ports_seen(jack_server.environment)
        with pytest.raises(subprocess.CalledProcessError):
            ports_seen({"JACK_DEFAULT_SERVER": "another-name"})
        neighbour.communicate(b"", timeout=10)


@pytest.mark.jack
def test_a_server_of_its_own_takes_the_place_of_the_sessions(own_jack_server: JackServer):
    assert ports_seen({}) == "[]\n"
    own_jack_server.stop()
    assert not own_jack_server.running
    with pytest.raises(subprocess.CalledProcessError):
        ports_seen({})


@pytest.mark.jack
def test_the_sessions_server_comes_back_afterwards(jack_server: JackServer):
    assert jack_server.running
    assert "neighbour" not in ports_seen({})


def test_without_the_fixture_no_jack_server_is_reached():
    ended = subprocess.run([sys.executable, "-c", LIST], capture_output=True, text=True, timeout=30, check=False)
    assert ended.returncode != 0
    assert "JACK" in ended.stderr


def test_a_missing_jackd_is_said_in_a_sentence(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("PATH", "")
    with pytest.raises(RuntimeError, match=r"jackd is missing.*apt-get install"):
        JackServer().start()


def test_what_a_run_left_behind_is_found_named_and_ended(capsys: pytest.CaptureFixture[str]):
    mark = uuid.uuid4().hex
    with subprocess.Popen(["sleep", "600"], env={**os.environ, "LIBRARIAN_TEST_RUN": mark}) as left:
        try:
            assert list(leftovers.marked(mark)) == [left.pid]
            assert leftovers.main(mark, patience_s=0.0) == 1
            assert left.wait(timeout=10) != 0
        finally:
            left.kill()
    assert f"{left.pid} sleep 600" in capsys.readouterr().out
    assert leftovers.main(mark, patience_s=0.0) == 0


def test_shipped_folders_are_found_and_a_missing_one_is_named():
    assert (shipped.folder("migrations") / "env.py").is_file()
    assert sorted(path.name for path in shipped.folder("assets/charts").glob("*.toml")) >= ["fogbell.toml"]
    with pytest.raises(FileNotFoundError, match="assets/nowhere belongs to this program"):
        shipped.folder(str(Path("assets", "nowhere")))


GRANDPARENT = """
import pathlib, subprocess, sys, time
child = subprocess.Popen(sys.argv[1:])
while pathlib.Path(f"/proc/{child.pid}/comm").read_text() != "sleep\\n":  # it is bound when this program begins
    time.sleep(0.01)
print(child.pid, flush=True)
"""


def test_a_bound_process_ends_with_the_one_that_started_it():
    ended = subprocess.run(
        [sys.executable, "-c", GRANDPARENT, *bound(["sleep", "600"])],
        stdout=subprocess.PIPE,
        text=True,
        timeout=20,
        check=True,
    )
    place = Path("/proc", ended.stdout.strip(), "stat")
    give_up = time.monotonic() + 5
    while place.exists() and place.read_text().rpartition(")")[2].split()[0] != "Z":
        assert time.monotonic() < give_up, "it still runs"
        time.sleep(0.02)
