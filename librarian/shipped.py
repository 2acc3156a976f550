"""Where the files are that travel with the program but stand at the top level of the source tree.

In the source tree (and in an editable install) `migrations/` and `assets/` stand beside the package; in an
installed wheel they lie inside it. Everything that needs one asks here.
"""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def folder(name: str) -> Path:
    """The folder `name` ("migrations", "assets/charts", ...) as an absolute path, source tree or installed alike.

    Raises `FileNotFoundError` naming both places when neither has it: a broken installation, no person's mistake.
    """
    inside, beside = _PACKAGE / name, _PACKAGE.parent / name
    # A foreign folder called "assets" may stand beside an installed package, so the inner one goes first.
    for place in (inside, beside):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"{name} belongs to this program but is neither at {inside} nor at {beside}")
