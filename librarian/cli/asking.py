"""Asking the person before something is replaced or gets loud."""

from __future__ import annotations

import signal
import sys

from librarian.cli import interrupts
from librarian.cli.clean import clean
from librarian.cli.here import aside
from librarian.errors import BadInput, Cancelled


def somebody_there(option: str = "--yes", *, scripted: bool = False) -> None:
    """Raises BadInput where nobody can be asked: before anything is begun that would have to ask.

    `scripted`: the answer is for a program (--json), so nobody reads along.
    """
    if scripted or not sys.stdin.isatty():
        raise BadInput("Nobody can be asked here whether that is meant.", f"Say {option} to agree beforehand.")


def agreed(question: str, *, yes: bool, option: str = "--yes", declined: str = "Nothing was changed.") -> None:
    """Return when the person agrees; `yes`: they did so on the command line already, with `option`.

    Raises Cancelled(`declined`) when they do not (or press Ctrl+C), BadInput where nobody can be asked.
    """
    if yes:
        return
    if interrupts.pressed():
        raise Cancelled(declined)
    somebody_there(option)
    aside(clean(f"{question} [y/N]", lines=True))
    try:
        before = signal.signal(signal.SIGINT, signal.default_int_handler)
    except ValueError:  # not in the main thread: whoever runs us there has its own way to interrupt
        answer = sys.stdin.readline()
    else:
        try:
            answer = sys.stdin.readline()
        except KeyboardInterrupt:
            raise Cancelled(declined) from None
        finally:
            signal.signal(signal.SIGINT, before)
    if answer.strip().casefold() not in {"y", "yes"}:
        raise Cancelled(declined)
