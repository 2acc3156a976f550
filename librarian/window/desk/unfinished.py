"""Conversations that closing the window would break off to somebody's cost: what is said before that happens.

A question, a reading, a comparison or a backup can be had again as it was; what turned knobs said cannot, and what is
being written leaves an instrument half changed.
"""

from __future__ import annotations

from dataclasses import dataclass

from librarian.window.desk.about import About
from librarian.window.desk.byhand import BY_HAND
from librarian.window.desk.instruments import Instruments
from librarian.window.desk.told import Told
from librarian.window.words import quoted


@dataclass(frozen=True)
class Unfinished:
    """One of them. `is_so`: a clause that says what is under way; `then`: what closing all the same comes to."""

    about: About
    is_so: str
    then: str


def unfinished(instruments: Instruments) -> tuple[Unfinished, ...]:
    """Those of all instruments, in the order in which they were asked for."""
    found = []
    for (instrument, what), about in instruments.conversations.items():
        standing = instruments.standings.get(instrument)
        if standing is None:
            continue
        name = standing.row.name
        if what == BY_HAND and (heard := instruments.heard_by_hand(instrument)):
            of = len(standing.chart.parameters)
            found.append(Unfinished(
                about, f"the capture by hand from {name} has heard {heard} of {of} controls",
                "what was heard is kept, with the rest as unknown",
            ))
        elif what == "recall":
            found.append(Unfinished(
                about, f"{quoted(about.subject)} is being recalled to {name}",
                f"that is broken off: {name} may then hold a part of it",
            ))
        elif what == "restore":
            found.append(Unfinished(
                about, f"{quoted(about.subject)} is being written into the memory of {name}",
                "that is broken off: what was there before is kept among the backups of Memory, which can be written "
                "back",
            ))
        elif what == "bring-up":
            found.append(Unfinished(
                about, f"{name} is being proved against its chart",
                f"that is broken off: {name} may then hold something else than before, which is kept",
            ))
    return tuple(found)


def not_closed_yet(going: tuple[Unfinished, ...]) -> Told:
    """What is said instead of closing the window."""
    clauses = [one.is_so for one in going]
    consequences = list(dict.fromkeys(one.then for one in going))
    return Told(
        f"The window is not closed yet: {'; '.join(clauses)}.",
        f"Let it go on to its end first. Close it once more, and {'; '.join(consequences)}.",
        trouble=True,
    )
