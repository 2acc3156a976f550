"""The part of `Library` about instruments and charts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from librarian.messages import Address

from . import instruments
from .records import ChartLike, InstrumentRow
from .schema import TRASHED
from .store import Store


class InstrumentsDoor:
    """Inherited by `Library`; needs its `_store`."""

    _store: Store

    def add_instrument(self, chart: ChartLike, name: str, address: Address, output: str = "", input: str = "") -> int:  # noqa: A002 - the port's name
        """A new instrument with its chart, whose text is kept for ever; returns its id."""
        with self._store.write(f"Add instrument “{name}”") as pending:
            return instruments.add(pending, chart, name, address, output, input)

    def update_instrument(self, instrument: int, *, chart: ChartLike | None = None, **fields: Any) -> None:
        """Change `name`, `address`, `output`, `input`, `firmware` or `pace` (JSON); or take another chart revision."""
        columns = _instrument_columns(fields)
        with self._store.write("Change instrument") as pending:
            instruments.update(pending, instrument, columns, chart)

    def note_instrument(self, instrument: int, **fields: Any) -> None:
        """What the program learned of an instrument by itself (`address`, `firmware`, `pace`). Not a step of undo."""
        columns = _instrument_columns(fields)
        with self._store.alone() as connection:
            if instruments.note(connection, instrument, columns):
                self._store.next_change(connection)

    def remove_instrument(self, instrument: int) -> None:
        """Take an instrument away; its sounds stay, readable by the kept chart."""
        with self._store.write("Remove instrument") as pending:
            instruments.update(pending, instrument, {"state": TRASHED}, None)

    def keep_chart(self, chart: ChartLike) -> None:
        """Keep the text of a chart without an instrument (an imported sound needs it). Not a step of undo."""
        with self._store.write("Keep chart") as pending:
            instruments.keep_chart(pending.connection, chart, pending.at)

    def instruments(self, *, removed: bool = False) -> tuple[InstrumentRow, ...]:
        """All instruments, oldest first."""
        with self._store.read() as connection:
            return instruments.rows(connection, removed=removed)

    def instrument(self, instrument: int) -> InstrumentRow:
        """One instrument, also a removed one."""
        with self._store.read() as connection:
            return instruments.row(connection, instrument)

    def chart_text(self, chart_id: str, revision: int) -> str:
        """The text of a chart revision as last kept."""
        with self._store.read() as connection:
            return instruments.chart_text(connection, chart_id, revision)

    def charts(self) -> tuple[tuple[str, int, str], ...]:
        """(chart id, revision, name) of every chart kept."""
        with self._store.read() as connection:
            return instruments.charts(connection)


def _instrument_columns(fields: Mapping[str, Any]) -> dict[str, Any]:
    columns: dict[str, Any] = {}
    for name, value in fields.items():
        if name == "address":
            columns["channel"], columns["device"] = value.channel, value.device
        elif name in {"name", "output", "input", "firmware", "pace"}:
            columns[name] = value
        else:
            raise TypeError(f"an instrument has no {name}")
    return columns
