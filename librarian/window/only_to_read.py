"""A library that can be read but not written, as on a disc or in somebody else's folder: what works, and what does not.

Finding, comparing, recalling and exporting work. Commands that change the library are there and say why they cannot.
So do the buttons of drawers. Whatever else would change it (Enter in a field) is refused by the library itself, in its
own words. What was read goes stale when its owner changes it: then the window is opened again.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from librarian.window.desk.told import Told
from librarian.window.parts.spec import ButtonSpec

REASON = "This library can only be read."

OPEN_AGAIN = ButtonSpec("open_again", "Open it again", primary=True)

CHANGING = (
    "save_search", "import", "back_up", "redo", "rename", "details", "details_found", "merge", "delete", "revert",
    "carry", "connect", "learn", "choose_ports", "stand_in", "capture", "capture_version", "capture_by_hand",
)
"""Commands that change the library and nothing else."""

_ALSO = ("name", "ask_again", "choose_chart", "standin")
"""What buttons call some of them."""


def refusing(tell: Callable[[Told], object]) -> dict[str, Callable[[], object]]:
    """What these commands do instead: buttons do not ask whether theirs works."""
    said = Told(REASON, "Copy its file to where you may write, and open the copy.", trouble=True)
    return dict.fromkeys((*CHANGING, *_ALSO), lambda: tell(said))


def opened(path: Path) -> Told:
    """What is said when the window opens on one."""
    return Told(
        f"The library {path} can only be read.",
        "Sounds can be found, compared, recalled and exported. To keep or change any, copy its file to where you may "
        "write, and open the copy.",
    )


def recalling(instrument: str) -> Told:
    """What is said when a recall replaces a sound that cannot be kept."""
    return Told(
        f"What is in {instrument} now cannot be kept in a library that can only be read.",
        "Undo brings it back until the window is closed or another sound is recalled.",
    )
