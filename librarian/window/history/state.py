"""What the history shows, as plain data, and how far apart versions stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from librarian.messages import OriginKind

HOW: dict[OriginKind, str] = {
    "captured": "captured", "by hand": "knob by knob", "imported": "imported", "edited": "edited",
    "carried": "carried over", "blended": "blended", "varied": "varied", "restored": "restored",
    "safety": "kept before a recall",
}
WIDEST, FIRST, PANEL_PIECE, END = 300, 300, 160, 100


@dataclass(frozen=True)
class VersionMark:
    """One version. `number` from 1, `when` ("12 Mar"), `how` it came; `role`: shown as A or B, or neither."""

    id: int
    number: int
    when: str
    how: str
    role: Literal["", "A", "B"] = ""


@dataclass(frozen=True)
class HistoryState:
    """All versions of one patch, oldest first. `panel`: what stands under the panel's triangle ("3 moved"), or ''."""

    name: str = ""
    versions: tuple[VersionMark, ...] = ()
    panel: str = ""

    @property
    def remark(self) -> str:
        """The second line under the title."""
        count = len(self.versions)
        if not count:
            return ""
        return "1 version" if count == 1 else f"{count} versions, none ever removed"


@dataclass(frozen=True)
class Spacing:
    """Which versions are seen (`first` is the index of the oldest one) and where, x in px."""

    first: int
    places: tuple[float, ...]
    panel_at: float | None


def space(count: int, width: float, least: float, *, panel: bool, shift: int = 0, factor: float = 1.0) -> Spacing:
    """Even spacing up to 300 px; when not all fit, the latest ones are seen, `shift` versions further back;
    `factor`: how much larger than usual the text is."""
    end = width - END - (PANEL_PIECE if panel else 0)
    start = min(FIRST * factor, width * 0.24 * max(1.0, factor * 0.9))
    room = max(0.0, end - start)
    fitting = max(1, int(room // least) + 1)
    seen = min(count, fitting)
    step = min(float(WIDEST), room / (seen - 1)) if seen > 1 else 0.0
    first = max(0, count - seen - shift)
    places = tuple(start + place * step for place in range(seen))
    last_seen = first + seen == count
    at = places[-1] + PANEL_PIECE if panel and last_seen and places else None
    return Spacing(first, places, at)
