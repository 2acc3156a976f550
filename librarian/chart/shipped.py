"""The charts that travel with the program."""

from __future__ import annotations

from pathlib import Path

from librarian.errors import OutsideProblem
from librarian.shipped import folder


def shipped() -> dict[str, Path]:
    """Id -> file of every chart that is shipped. Works in a checkout and in an installed wheel."""
    try:
        place = folder("assets/charts")
    except FileNotFoundError:
        raise OutsideProblem(
            "The charts that belong to this program are missing.", "Install the program again."
        ) from None
    return {path.stem: path for path in sorted(place.glob("*.toml"))}
