"""Which sentence fits which trouble: a person is told the true cause, or the nearest that can be seen."""

from __future__ import annotations

import re
from collections.abc import Mapping

SILENT = "does not answer on .*: asked for .*, nothing came"
FOREIGN = "Messages arrive on .*, but none from "
LOOP = "returns what is sent to it, and .* does not answer"
DAMAGED = (
    "arrived damaged: |they arrive damaged|broke off after|stopped before its end|not enough answers agree|"
    "checksum|bytes? (too|long|short|more|fewer)|Byte \\d+ "
)
LATE = "is on .*, but answers too late"
INCOMPLETE = "did not arrive and (is|are) unknown|could not be read back"
DIFFERS = (
    "did not arrive|read back equal; [^;]*\\bdiffers?\\b|"
    "changed, though not sent|its name reads|reads? back neither|did not take the new sound|"
    "was changed afterwards|number was damaged on the way"
)
REFUSED = "refused|cancelled the transfer|did not acknowledge"
MOVED = "moved on the panel meanwhile"
PROTECTED = "refused it|protected"
STRANGER = "answered on .*, where .* was expected"
FIRMWARE = "with firmware .*, which chart revision .* does not describe"
PORT = "The port Pit interface 1 has gone\\."
SERVER = "The MIDI system of this computer stopped\\."
UNREADABLE = "could not be read"

_NOISE = (SILENT, FOREIGN, DAMAGED, INCOMPLETE, DIFFERS, UNREADABLE)
_QUIET: tuple[str, ...] = ()

FITS: Mapping[str, tuple[str, ...]] = {
    "none": _QUIET,
    "bytes lost": (*_NOISE, REFUSED),
    "bytes lost in bursts": (*_NOISE, REFUSED),
    "bytes doubled": (*_NOISE, REFUSED),
    "bytes swapped": (*_NOISE, REFUSED),
    "bytes flipped": (*_NOISE, REFUSED),
    "bytes flipped in bursts": (*_NOISE, REFUSED),
    "messages lost": (*_NOISE, REFUSED),
    "late": _QUIET,
    "stalls": (*_NOISE, LATE),
    "realtime inside": _QUIET,
    "ends lost": (*_NOISE, REFUSED),
    "foreign messages": _QUIET,
    "everything echoed": _QUIET,
    "loop, nobody there": (LOOP,),
    "input buffer overflows": (*_NOISE, REFUSED),
    "small and deaf": _QUIET,
    "another device": (SILENT, FOREIGN),
    "wrong checksum once": _QUIET,
    "refuses (NAK)": (REFUSED, UNREADABLE),
    "refuses, silent": (SILENT, DIFFERS),
    "refuses and changes all the same": (REFUSED, DIFFERS),
    "busy (WAIT)": _QUIET,
    "memory protected": (PROTECTED,),
    "restarts in the middle": _NOISE,
    "old firmware": (FIRMWARE,),
    "knobs turned meanwhile": (
        MOVED,
        "Its controls may be moving",
        "as a control sends it that is moved",
        INCOMPLETE,
        DIFFERS,
    ),
    "program chosen meanwhile": ("Its controls may be moving", INCOMPLETE, DIFFERS),
    "no identity reply": _QUIET,
    "port gone": (PORT,),
    "server gone": (SERVER,),
    "much at once": (*_NOISE, REFUSED, LOOP),
    "running status for hours": _QUIET,
}
"""Trouble -> patterns, one of which must be found in what was told."""


def fits(trouble: str, words: str, own: tuple[str, ...]) -> bool:
    """True when these words fit the trouble ('': none), or something that the chart itself cannot do (`own`)."""
    return any(re.search(pattern, words) for pattern in (*FITS.get(trouble, ()), *own))
