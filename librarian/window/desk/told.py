"""What the desk has to say at the foot of the list."""

from __future__ import annotations

from dataclasses import dataclass

from librarian.window.parts.spec import ButtonSpec


@dataclass(frozen=True)
class Told:
    """Something to say at the foot of the list. `undo`: the label of the step that can be taken back, or empty.

    `also`: buttons of commands that come next.
    """

    sentence: str
    hint: str = ""
    undo: str = ""
    trouble: bool = False
    also: tuple[ButtonSpec, ...] = ()
