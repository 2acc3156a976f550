"""The command `librarian`, which is also `python -m librarian`.

It stands above both the terminal and the window, which do not know each other: the terminal is given what opens the
window, and Qt is loaded only when that is called.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager


def open_window(options: Sequence[str]) -> int:
    """What `librarian window OPTIONS...` does."""
    with _loading():
        from librarian.window import app

    return app.main(options)


def main() -> None:
    """Run the command line; ends the process.

    Loading it takes a moment, in which Ctrl+C is answered too: nothing has begun then.
    """
    usual = signal.signal(signal.SIGINT, _nothing_begun)
    with _loading():
        from librarian import cli

        run = cli.prepared(open_window)
    signal.signal(signal.SIGINT, usual)
    run()


@contextmanager
def _loading() -> Iterator[None]:
    """What is loaded stays: looking through it for waste would take a quarter of the time that a verb takes."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


_SENTENCE = "Ended by Ctrl+C; nothing had begun."
_PROBLEM = f'{{"verb": "", "ok": false, "problem": {{"kind": "cancelled", "sentence": "{_SENTENCE}", "hint": ""}}}}'


def _nothing_begun(*_: object) -> None:
    if "--json" in sys.argv:
        sys.stdout.write(f"{_PROBLEM}\n")
        sys.stdout.flush()
    sys.stderr.write(f"{_SENTENCE}\n")
    sys.stderr.flush()
    os._exit(130)  # modules that are half loaded have nothing to clean up, and much to complain about


if __name__ == "__main__":
    main()
