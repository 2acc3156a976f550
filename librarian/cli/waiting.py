"""While a conversation runs: a bar with what is done and left, and Ctrl+C as a wish, not an accident."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from librarian import transfer
from librarian.cli import interrupts
from librarian.cli.clean import clean
from librarian.errors import Cancelled


@contextmanager
def waiting(what: str) -> Iterator[tuple[transfer.Cancel, transfer.OnProgress]]:
    """A cancel token that Ctrl+C sets, and a progress callback drawn on standard error if that is a terminal.

    Ctrl+C is answered at once. What is true then is said when the ports are closed, as the end of the verb. One that
    comes before or after the block does not take the result with it (`cli/interrupts.py`).
    """
    cancel = transfer.Cancel()
    interrupts.hold()

    def wish() -> None:
        cancel.set()
        sys.stderr.write("Ending; what is true then comes next.\n")
        sys.stderr.flush()

    with on_interrupt(wish), _bar(what) as progress:
        if interrupts.pressed():
            cancel.set()
        try:
            yield cancel, progress
        except KeyboardInterrupt:
            raise Cancelled("Ended at once by a second Ctrl+C; how far it had got is not known.") from None


@contextmanager
def on_interrupt(wish: Callable[[], None]) -> Iterator[None]:
    """Call `wish` on the first Ctrl+C; the second one ends the program as usual."""

    def first(*_: object) -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        wish()

    try:
        before = signal.signal(signal.SIGINT, first)
    except ValueError:  # not in the main thread: whoever runs us there has its own way to cancel
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _bar(what: str) -> Iterator[transfer.OnProgress]:
    if not sys.stderr.isatty():
        yield _silent
        return
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[left]}", markup=False),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(clean(what), total=None, left="")

        def tell(state: transfer.Progress) -> None:
            left = "" if state.seconds_left is None else f"{state.what}, about {state.seconds_left:.0f} s left"
            bar.update(task, completed=state.done, total=state.total, left=left or state.what)

        yield tell


def _silent(state: transfer.Progress) -> None:
    """No terminal, no bar."""
