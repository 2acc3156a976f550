"""What a message is called: by a chart, by the standard's universal messages, or by the maker's ID."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from librarian.files.targets import Target
from librarian.wire.universal import describe

MIXED = "bytes and messages of all kinds"
_STATUS = re.compile(rb"[\x80-\xf7]")


@dataclass(frozen=True, slots=True)
class Named:
    """A message's name for people, and where it is known from."""

    source: Literal["chart", "standard", "maker", "nobody"]
    text: str


def name_message(raw: bytes, targets: Sequence[Target]) -> Named:
    """Never refuses: what no chart knows is named by the standard, or by its maker. Several in one are `MIXED`."""
    if _STATUS.search(raw, 1, len(raw) - 1):
        return Named("nobody", MIXED)
    for target in targets:
        found = target.recognise(raw)
        if found is not None:
            info = target.chart.codec.messages[found.recognised.message]
            what = info.label or f"{found.recognised.message} dump"
            ends = {"request": ", request", "write": "", "answer": ""}[found.recognised.form]
            return Named("chart", f"{target.chart.name}: {what}{ends}")
    if raw[:1] != b"\xf0":
        return Named("standard", describe(raw) if raw and raw[0] >= 0x80 else "data bytes without status")
    if len(raw) > 1 and raw[1] in (0x7E, 0x7F):
        return Named("standard", describe(raw if raw[-1] == 0xF7 else raw + b"\xf7"))
    text = describe(raw if raw[-1] == 0xF7 else raw + b"\xf7")
    return Named("nobody" if "unknown maker" in text or len(raw) < 3 else "maker", text)
