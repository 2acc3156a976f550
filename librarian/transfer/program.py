"""One stored program captured by its number: of instruments whose edit buffer cannot be asked for, the way in."""

from __future__ import annotations

from librarian.errors import Refused
from librarian.transfer import limits
from librarian.transfer.bank import numbers, program_way, single_programs, slots_of
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.capture import captured
from librarian.transfer.identify import introduce, refuse_stranger
from librarian.transfer.line import Line
from librarian.transfer.read import read_surely
from librarian.transfer.results import Captured


def capture_program(
    line: Line, number: int, *, cancel: Cancel | None = None, progress: OnProgress | None = None
) -> Captured:
    """Read program `number` (counted through all banks from 0) until its answers agree; nothing is written.

    What the line knows of the edit buffer stays as it was. Raises Refused for a program that the memory does not
    have, or that cannot be asked for alone; otherwise what `capture` raises.
    """
    with line.talk("capture", cancel, progress) as talk:
        talk.limit_s = limits.backup_s(line, 1)
        talk.state = "Nothing was kept, and the instrument is as it was."
        introduce(talk)
        refuse_stranger(line.identified)
        (wanted,) = numbers(line, [number])
        if not single_programs(line, "request"):
            raise Refused(
                f"{line.name} cannot be asked for one program of its memory, as far as its chart knows.",
                "Back up its memory, and make a patch of the program that you want.",
            )
        way = program_way(line, "request")
        talk.tell(0, len(line.chart.parameters), "parameters", None)
        sure = read_surely(talk, way, expected=None, **slots_of(line, way.message, wanted))
        shown = str(wanted) if line.chart.memory is None else line.chart.memory.shown(wanted)
        return captured(talk, sure, program=shown)
