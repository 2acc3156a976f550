"""`run` is the command line without a process: every JSON answer it gives is checked against its documented schema."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pydantic import BaseModel
from typer.main import get_command

from librarian.chart import Chart, load, shipped
from librarian.cli import connect
from librarian.cli.answers import OF_VERB, Trouble
from librarian.cli.app import build
from librarian.cli.verb import Given
from librarian.collection import Library
from librarian.files.demo import DemoSounds
from librarian.messages import Values, Version
from librarian.standin import Instrument
from librarian.transfer import connections
from librarian.transfer.connections import Connections, add_stand_in
from librarian.wire.clock import VirtualClock


@dataclass(frozen=True)
class Ran:
    """What came of one command line."""

    code: int
    out: str
    err: str

    @property
    def answer(self) -> dict[str, Any]:
        """The JSON object on standard output, valid by its documented schema."""
        found = json.loads(self.out)
        assert isinstance(found, dict)
        model = OF_VERB[found["verb"]] if found["ok"] else Trouble
        validator_of(model).validate(found)
        known = set(model.model_fields) | {"verb", "ok"}
        assert set(found) <= known, f"undocumented: {set(found) - known}"
        assert self.out.isascii(), "a terminal might obey something in it"
        return found


@cache
def validator_of(model: type[BaseModel]) -> Any:
    """The documented schema of an answer, found to be one once for all tests."""
    schema = {**model.model_json_schema(), "additionalProperties": True}
    validator = jsonschema.validators.validator_for(schema)
    validator.check_schema(schema)
    return validator(schema)


Run = Callable[..., Ran]


@pytest.fixture(autouse=True)
def _no_real_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """The embedded cable runs by a virtual clock: what takes a second on a wire takes none here."""
    monkeypatch.setitem(Connections.__init__.__kwdefaults__, "clock", VirtualClock(100.0))


@pytest.fixture
def no_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port that is not there at once is not waited for."""
    for name in ("_PORT_APPEARS_S", "_SYSTEM_APPEARS_S"):
        monkeypatch.setattr(connect, name, 0.0)


@pytest.fixture
def unit(monkeypatch: pytest.MonkeyPatch) -> dict[str, Instrument]:
    """The one stand-in of this test, by the id of its chart: what is written into it stays in it from verb to verb."""
    made: dict[str, Instrument] = {}
    kind = connections.Instrument

    def one(chart: Chart, **options: Any) -> Instrument:
        return made.setdefault(chart.id, kind(chart, **options))

    monkeypatch.setattr(connections, "Instrument", one)
    return made


@pytest.fixture
def answers_of_a_person(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Lets a test answer questions as a person at a terminal would."""

    def typed(text: str) -> None:
        person = io.StringIO(text)
        monkeypatch.setattr(person, "isatty", lambda: True)
        monkeypatch.setattr("sys.stdin", person)

    return typed


@pytest.fixture
def run(library_path: Path) -> Run:
    """Run verbs on a library of this test."""

    def run_it(*words: str | int) -> Ran:
        out, err = io.StringIO(), io.StringIO()
        line = ["--library", str(library_path), *(str(word) for word in words)]
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as ended:
            command_line().main(line, prog_name="librarian", obj=Given())
        return Ran(int(ended.value.code or 0), out.getvalue(), err.getvalue())

    return run_it


@cache
def command_line() -> Any:
    """All verbs, put together once for all tests."""
    return get_command(build())


@pytest.fixture(scope="session")
def _filled_once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, int]]:
    place = tmp_path_factory.mktemp("filled") / "patches.sqlite"
    with Library.open(place) as library:
        charts = {name: load(path) for name, path in shipped().items()}
        ids = DemoSounds(charts).keep(library, {name: add_stand_in(library, each) for name, each in charts.items()})
    return place, ids


@pytest.fixture
def filled(library_path: Path, _filled_once: tuple[Path, dict[str, int]]) -> dict[str, int]:
    """The demo sounds in the test's library, by name; both instruments are stand-ins."""
    place, ids = _filled_once
    shutil.copy(place, library_path)
    return ids


@pytest.fixture(scope="session")
def _small_once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, int]]:
    place = tmp_path_factory.mktemp("small") / "patches.sqlite"
    chart = load(shipped()["fogbell"])
    low = Values({name: each.low for name, each in chart.parameters.items()})
    near = low.with_values({"filter.cutoff": 9})
    far = Values({name: each.high for name, each in chart.parameters.items()}).without(["bell.decay"])
    with Library.open(place) as library:
        number = add_stand_in(library, chart)
        ids = {
            "Low tide": library.keep(number, "Low tide", Version("fogbell", chart.revision, low), ["quiet"], "at dawn"),
            "Low tide, later": library.keep(number, "Low tide, later", Version("fogbell", chart.revision, near)),
            "Flood": library.keep(
                number, "Flood", Version("fogbell", chart.revision, far, frozenset({"bell.decay"})), ["loud", "act 2"]
            ),
        }
    return place, ids


@pytest.fixture
def small(library_path: Path, _small_once: tuple[Path, dict[str, int]]) -> dict[str, int]:
    """Three Fogbell sounds, two of them nearly alike; one has an unknown."""
    place, ids = _small_once
    shutil.copy(place, library_path)
    return ids
