"""The verbs to try the program with: demo, window, standin; and `answers`, which documents every answer."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from librarian.chart import shipped
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.exits import Exit
from librarian.cli.here import Here, aside, table
from librarian.cli.job import Step, whole_job
from librarian.cli.reading import shipped_chart
from librarian.cli.verb import Given, verb
from librarian.collection import Library
from librarian.errors import OutsideProblem
from librarian.files.demo import DemoSounds
from librarian.standin import process
from librarian.transfer.connections import Connections, add_stand_in, is_embedded

PICTURE_PATIENCE_S = 120.0
CARE = "With a real instrument turn the monitors down first: a sound may be loud, and hearing damage is permanent."


def add_to(app: typer.Typer) -> None:
    """Register these verbs."""
    verb(app, "demo")(demo)
    verb(app, "answers")(document)
    own_options = {"ignore_unknown_options": True, "allow_extra_args": True, "help_option_names": []}
    app.command("window", context_settings=own_options)(window)
    app.command("standin", context_settings=own_options)(stand_in)


def window(context: typer.Context) -> None:
    """Open the window. Its options: librarian window --help."""
    given = context.obj if isinstance(context.obj, Given) else Given()
    if given.open_window is None:
        aside("This command line was not given a window. Start it as: librarian window")
        raise typer.Exit(Exit.COULD_NOT)
    library = [] if given.library is None else ["--library", str(given.library)]
    raise typer.Exit(given.open_window([*library, *context.args]))


def stand_in(context: typer.Context) -> None:
    """Run a simulated instrument on MIDI ports of its own. Its options: librarian standin --help."""
    raise typer.Exit(process.main(context.args))


def demo(
    here: Here,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE", help="Also save a picture of the window, as PNG.")
    ] = None,
) -> Exit:
    """The whole job with both demo instruments, simulated, each step with its proof.

    On a throw-away library, or on the one given by --library: an empty one is filled with the demo sounds.
    """
    steps: list[answers.DemoStep] = []
    with _place(here) as place, Library.open(place) as library:
        every = (shipped_chart(name) for name in shipped())
        charts = {chart.id: chart for chart in sorted(every, key=lambda chart: -len(chart.parameters))}
        rows = {row.chart: row for row in library.instruments() if is_embedded(row)}
        numbers = {
            name: rows[name].id if name in rows else add_stand_in(library, chart) for name, chart in charts.items()
        }
        if not library.total():
            DemoSounds(charts).keep(library, numbers)
        here.say(f"Library {clean(str(place))}: {library.total()} patches of an invented play.", CARE)
        with Connections() as connections:
            for name, chart in charts.items():
                row = library.instrument(numbers[name])
                line = connections.open(row, chart)
                here.say("", f"{clean(row.name)}, on the embedded cable at the speed of a real one")
                try:
                    for step in whole_job(library, row.id, line, connections.stand_in(row, chart)):
                        steps.append(
                            answers.DemoStep(instrument=row.name, step=step.name, proof=step.proof, holds=step.holds)
                        )
                        _say(here, step)
                finally:
                    line.cable.close()
        patches = library.total()
    saved = None if picture is None else _picture(picture)
    held = sum(each.holds for each in steps)
    here.answer(
        answers.Demo(library=str(place), patches=patches, steps=steps, picture=None if saved is None else str(saved)),
        "",
        f"{held} of {len(steps)} steps proved.",
        *([f"A picture of the window: {saved}"] if saved is not None else []),
    )
    return Exit.OK if held == len(steps) else Exit.DIFFERS


def document(
    here: Here,
    of: Annotated[list[str] | None, typer.Argument(metavar="[VERB]", help="Of this verb; without it, of all.")] = None,
) -> None:
    """List the keys of every answer that --json gives; with --json, as JSON Schema."""
    wanted = " ".join(of or [])
    known = {name: model for name, model in answers.OF_VERB.items() if not wanted or name == wanted}
    if not known:
        raise typer.BadParameter(f"No verb {wanted}. There are: {', '.join(answers.OF_VERB)}.")
    schemas = {name: model.model_json_schema() for name, model in known.items()}
    made = table("Verb", "Keys of its answer, besides verb and ok")
    for name, model in known.items():
        made.add_row(name, ", ".join(model.model_fields))
    schemas["trouble"] = answers.Trouble.model_json_schema()
    here.answer(answers.Documented(answers=schemas), made)


def _say(here: Here, step: Step) -> None:
    mark = "proved" if step.holds else "NOT PROVED"
    here.say(f"  {step.name:<22}{mark:<12}{clean(step.proof)}")


@contextlib.contextmanager
def _place(here: Here) -> Iterator[Path]:
    if here.library is not None:
        yield here.library
        return
    with tempfile.TemporaryDirectory(prefix="librarian-demo-", ignore_cleanup_errors=True) as folder:
        yield Path(folder) / "demo.sqlite"


def _picture(picture: Path) -> Path:
    """Have a process of its own draw the window: the terminal knows no Qt."""
    target = picture.absolute()
    command = [sys.executable, "-m", "librarian", "window", "--demo", "--picture", str(target)]
    environment = {**os.environ, "QT_QPA_PLATFORM": os.environ.get("QT_QPA_PLATFORM", "offscreen")}
    try:
        done = subprocess.run(
            command, env=environment, capture_output=True, timeout=PICTURE_PATIENCE_S, check=False, text=True
        )
    except (OSError, subprocess.TimeoutExpired) as problem:
        raise OutsideProblem(f"The window could not be drawn: {problem}.", "Everything else was done.") from None
    if done.returncode or not target.is_file():
        said = done.stderr.strip().splitlines()
        raise OutsideProblem(
            f"The window could not be drawn into {target}: {said[-1] if said else 'it said nothing'}",
            "Everything else was done.",
        )
    return target
