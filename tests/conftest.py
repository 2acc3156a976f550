"""What every test gets: silence as the only pass, folders of its own, a MIDI world of its own."""

from __future__ import annotations

import gc
import logging
import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from librarian import shipped
from tests.jackd import JackServer
from tests.standins import StandInProcess

# Before Qt or JACK is loaded by anybody: no window on the person's screen, no port on the person's MIDI system.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ["JACK_DEFAULT_SERVER"] = f"librarian-tests-no-server-{os.getpid()}"
os.environ["JACK_NO_START_SERVER"] = "1"
# The terminal that the tests are looked at in must not decide how the program writes.
os.environ["TERM"] = "xterm-256color"
for _name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES"):
    os.environ.pop(_name, None)

# One and the same run everywhere: no time limits that depend on the machine, no luck. `explore` looks further.
settings.register_profile(
    "ci", derandomize=True, deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("explore", deadline=None, max_examples=2000, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Whatever needs a JACK server is marked so, whoever wrote it: tests/run.sh runs these alone."""
    for item in items:
        if "_jack_of_the_session" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.jack)


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """What is loaded stays: to look through it for waste again and again is a tenth of the time of a run."""
    gc.collect()
    gc.freeze()


_FOLDERS = ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_STATE_HOME")


@pytest.fixture(scope="session", autouse=True)
def _folders_of_the_session() -> Iterator[None]:
    """No test, and no process started by one, ever sees the person's own library or settings."""
    with tempfile.TemporaryDirectory(prefix="librarian-tests-") as place, pytest.MonkeyPatch.context() as patch:
        for name in _FOLDERS:
            patch.setenv(name, str(Path(place, name.lower())))
        yield


@pytest.fixture(autouse=True)
def _folders_of_the_test(_folders_of_the_session: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Data, settings and cache of one test do not reach the next one."""
    for name in _FOLDERS:
        monkeypatch.setenv(name, str(tmp_path / name.lower()))


@pytest.fixture(autouse=True)
def nothing_logged_by_surprise(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """A stray log line of level WARNING or above fails. A test that expects one asserts it, then `caplog.clear()`."""
    yield
    stray = [record for record in caplog.get_records("call") if record.levelno >= logging.WARNING]
    assert not stray, f"logged by surprise: {[record.getMessage() for record in stray]}"


@pytest.fixture
def no_room_for_copies(monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk ends after four pages of a copy of the library."""
    real = sqlite3.connect

    def small_disk(path: object, **how: object) -> sqlite3.Connection:
        made = real(path, **how)
        if str(path).endswith(".part"):
            made.execute("PRAGMA max_page_count = 4")
        return made

    monkeypatch.setattr(sqlite3, "connect", small_disk)


@pytest.fixture
def library_path(tmp_path: Path) -> Path:
    """Where a test may make a library; the folder exists, has a space in its name, and nothing is in it."""
    place = tmp_path / "a library"
    place.mkdir()
    return place / "patches.sqlite"


@pytest.fixture(scope="session")
def _jack_of_the_session() -> Iterator[JackServer]:
    server = JackServer()
    yield server
    server.stop()


@pytest.fixture
def jack_server(_jack_of_the_session: JackServer, monkeypatch: pytest.MonkeyPatch) -> JackServer:
    """The session's private JACK server (dummy driver); this test and the processes it starts are its clients.

    Never killed by a test: one that wants to kill a server takes `own_jack_server`, and never both.
    """
    if not _jack_of_the_session.running:
        _jack_of_the_session.start()
    for name, value in _jack_of_the_session.environment.items():
        monkeypatch.setenv(name, value)
    return _jack_of_the_session


@pytest.fixture
def own_jack_server(_jack_of_the_session: JackServer, monkeypatch: pytest.MonkeyPatch) -> Iterator[JackServer]:
    """A JACK server for this test alone, which it may stop, continue or kill (`os.kill(own_jack_server.pid, ...)`)."""
    _jack_of_the_session.stop()  # two do not fit into the 64 MB of shared memory that containers have
    with JackServer() as server:
        for name, value in server.environment.items():
            monkeypatch.setenv(name, value)
        yield server


@pytest.fixture
def room_for_a_server(_jack_of_the_session: JackServer) -> None:
    """No JACK server of ours runs: for a test whose child process starts one (two do not fit, see above)."""
    _jack_of_the_session.stop()


@pytest.fixture
def standin(jack_server: JackServer) -> Iterator[Callable[..., StandInProcess]]:
    """`standin("fogbell", "Port name")`: start a simulated instrument on real ports; ended when the test ends.

    The chart is a shipped one's id or a path; further words go to the stand-in's command line.
    """
    with ExitStack() as running:

        def start(chart: str | Path, port: str, *options: str) -> StandInProcess:
            path = chart if isinstance(chart, Path) else shipped.folder("assets/charts") / f"{chart}.toml"
            return running.enter_context(StandInProcess(path, port, options))

        yield start
