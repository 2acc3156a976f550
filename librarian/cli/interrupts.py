"""Ctrl+C between the end of a conversation and the telling of its result: the result is told first.

A conversation takes a Ctrl+C as a wish (`cli/waiting.py`). Just after it that would end the program at once, as usual,
and nobody would know what is in the instrument now. So from the first conversation of a verb on, a first Ctrl+C outside
of them is only noted: what would begin then (another conversation, a question) is not begun. A second one ends at once.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass
class _Verb:
    """The verb that runs. `pressed`: there was a Ctrl+C outside of its conversations, after the first one began."""

    pressed: bool = False


_running: list[_Verb] = []


@contextmanager
def verb_runs() -> Iterator[None]:
    """Around a whole verb, its answer included."""
    before = signal.getsignal(signal.SIGINT)
    _running.append(_Verb())
    try:
        yield
    finally:
        _running.pop()
        _take(before)


def hold() -> None:
    """From now on a first Ctrl+C is noted. Outside of a verb, and of the main thread, everything stays as it is."""
    if not _running:
        return
    verb = _running[-1]

    def note(*_: object) -> None:
        _take(signal.default_int_handler)
        verb.pressed = True
        sys.stderr.write("Ending as soon as the result is told.\n")
        sys.stderr.flush()

    _take(note)


def pressed() -> bool:
    """True when the person wanted the end since the first conversation of this verb began, outside of any."""
    return bool(_running) and _running[-1].pressed


def _take(handler: object) -> None:
    try:
        signal.signal(signal.SIGINT, handler)  # type: ignore[arg-type]
    except ValueError:  # not in the main thread: whoever runs us there has its own way to interrupt
        return
