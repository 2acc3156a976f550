"""What the patch header shows, as plain data, and its sentences made from facts."""

from __future__ import annotations

from dataclasses import dataclass

from librarian.window.paint.marks import Mark
from librarian.window.parts.spec import ButtonSpec

LEGEND_WORDS: dict[Mark, str] = {
    "A": "A stored", "B": "B", "panel": "panel now", "changed": "changed since", "unknown": "unknown",
    "locked": "locked", "setup": "setup", "agrees": "agrees",
}


@dataclass(frozen=True)
class Title:
    """One sound: its name, and the line that says whose, which version, how it came, how complete it is."""

    name: str
    detail: str = ""


@dataclass(frozen=True)
class HeaderState:
    """`b` only while comparing. `summary`: the bold line above the panel; `legend`: the marks in use there.

    `editable`: the name can be changed (F2, or a click on it). `nothing`: shown instead when no sound is chosen.
    """

    a: Title | None = None
    b: Title | None = None
    buttons: tuple[ButtonSpec, ...] = ()
    summary: str = ""
    legend: tuple[Mark, ...] = ()
    editable: bool = True
    nothing: str = "No sound is chosen. Choose one in the list, or capture the one that is on the panel."


def detail(
    *, instrument: str, number: int, latest: bool, how: str, when: str, known: int, of: int, stored: bool = True
) -> str:
    """"Lanternfish · version 4, latest · captured 12 Mar, 19:38 · complete: 52 of 52 received".

    `how`: "captured", "knob by knob", "edited" …; `when`: the moment in words; `known` of `of` parameters.
    """
    version = (f"version {number}, latest" if latest else f"version {number}") if stored else "not kept yet"
    unknown = of - known
    whole = f"complete: {of} of {of} received" if unknown == 0 else f"{known} of {of} received, {unknown} unknown"
    return " · ".join([instrument, version, f"{how} {when}".strip(), whole])


COMPARE = ButtonSpec("compare", "Compare…", key="Ctrl+J")
MATCH = ButtonSpec("match_panel", "Match panel", key="Ctrl+T")
RECALL = ButtonSpec("recall", "Recall", primary=True, key="Ctrl+R")
SWAP = ButtonSpec("swap", "Swap", key="X")
END_COMPARE = ButtonSpec("end_compare", "End compare", key="Esc")
RECALL_B = ButtonSpec("recall_b", "Recall B", primary=True, key="Ctrl+R")
KEEP = ButtonSpec("keep", "Keep…", primary=True)
