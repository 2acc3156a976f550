"""The command `librarian`, which is also `python -m librarian`.

It stands above both the terminal and the window, which do not know each other: the terminal is given what opens the
window, and Qt is loaded only when that is called.
"""

from __future__ import annotations

from collections.abc import Sequence

from librarian import cli


def open_window(options: Sequence[str]) -> int:
    """What `librarian window OPTIONS...` does."""
    from librarian.window import app

    return app.main(options)


def main() -> None:
    """Run the command line; ends the process."""
    cli.main(open_window)


if __name__ == "__main__":
    main()
