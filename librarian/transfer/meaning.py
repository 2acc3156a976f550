"""What one message means, through the chart where it can say it, else by the standard's own words. No Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from librarian.chart import Chart, Listener
from librarian.messages import Address
from librarian.wire import universal
from librarian.wire.traffic import Crossing

_FORMS = {"request": "asked for", "answer": "dump", "write": "written"}
_SHOWN_BYTES = 8


@dataclass(frozen=True)
class Line:
    """One row of the traffic. `known`: the chart or the standard says what it is."""

    number: int
    at: float
    direction: str
    meaning: str
    size: str
    known: bool
    raw: bytes


class Reader:
    """Reads crossings in their order; keeps what pairs of controllers need to be understood, one per direction."""

    def __init__(self, chart: Chart | None, address: Address) -> None:
        self._chart, self._address = chart, address
        self._ears: dict[str, Listener] = {}
        if chart is not None:
            self._ears = {way: chart.codec.listener(address) for way in ("in", "out")}

    @property
    def about(self) -> dict[str, Any]:
        """What a saved log must hold to be understood elsewhere: the chart, and where its instrument listens."""
        if self._chart is None:
            return {}
        address = {"channel": self._address.channel, "device": self._address.device}
        return {"instrument": self._chart.name, "chart": self._chart.text, "address": address}

    def read(self, crossing: Crossing) -> Line:
        """The row for one crossing."""
        raw = crossing.raw
        if crossing.damage:
            text, known = f"damaged: {crossing.damage}", False
        else:
            text, known = self._meaning(crossing)
        shown = raw.hex(" ").upper() if len(raw) <= _SHOWN_BYTES else f"{len(raw)} bytes"
        return Line(crossing.number, crossing.at, crossing.direction, text, shown, known, raw)

    def _meaning(self, crossing: Crossing) -> tuple[str, bool]:
        raw = crossing.raw
        if self._chart is not None:
            if raw[:1] == b"\xf0":
                found = self._chart.codec.recognise(raw, self._address)
                if found is not None:
                    return f"{found.message}: {_FORMS.get(found.form, found.form)}", True
            heard = self._ears[crossing.direction].feed(raw, crossing.at)
            if heard:
                said = [
                    f"{self._chart.parameters[one.parameter].label} "
                    f"{self._chart.parameters[one.parameter].display(one.value)}"
                    for one in heard
                ]
                return ", ".join(said), True
        if raw[:1] == b"\xf0":
            return universal.describe(raw), raw[1:2] in {b"\x7e", b"\x7f"}
        if raw[0] < 0xF0:
            number = f", number {raw[1]}" if raw[0] & 0xF0 == 0xB0 else ""
            return f"{universal.describe(raw)}{number}, not in the chart", False
        return universal.describe(raw), True
