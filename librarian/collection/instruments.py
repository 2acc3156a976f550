"""Instruments, and the charts that their sounds are kept by."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, insert, select
from sqlalchemy import update as update_rows

from librarian.errors import BadInput, Refused
from librarian.messages import Address

from .folding import clean, clean_name, whole
from .journal import Pending
from .layout import digest, width_for
from .problems import as_kept
from .records import ChartLike, InstrumentRow
from .schema import LIVE, TRASHED, WITHDRAWN, ChartText, Instrument


def keep_chart(connection: Connection, chart: ChartLike, at: int) -> int:
    """The id of this chart text; stored when it is new. An older text of the same revision stays as well."""
    text = whole(chart.text)
    key = digest(text.encode())
    known = connection.execute(
        select(ChartText.id).where(
            ChartText.chart == chart.id, ChartText.revision == chart.revision, ChartText.digest == key
        )
    ).scalar()
    if known is not None:
        return int(known)
    parameters: Mapping[str, Any] = chart.parameters  # type: ignore[assignment]
    made = connection.execute(
        insert(ChartText).values(
            chart=chart.id,
            revision=chart.revision,
            name=clean(chart.name),
            text=text,
            parameters=json.dumps(list(parameters), ensure_ascii=False),
            widths="".join(str(width_for(one.low, one.high)) for one in parameters.values()),
            digest=key,
            added=at,
        )
    ).inserted_primary_key
    assert made is not None
    return int(made[0])


def add(pending: Pending, chart: ChartLike, name: str, address: Address, output: str, input_: str) -> int:
    """A new instrument; returns its id."""
    tidy = clean_name(name)
    if not tidy:
        raise BadInput("An instrument needs a name.")
    made = pending.connection.execute(
        insert(Instrument).values(
            name=tidy,
            chart_text_id=keep_chart(pending.connection, chart, pending.at),
            channel=address.channel,
            device=address.device,
            output=whole(output),
            input=whole(input_),
            firmware="",
            pace="",
            state=LIVE,
        )
    ).inserted_primary_key
    assert made is not None
    pending.made("instrument.fields", [made[0]], {"state": WITHDRAWN}, {"state": LIVE})
    return int(made[0])


def update(pending: Pending, instrument: int, fields: Mapping[str, Any], chart: ChartLike | None) -> None:
    """Change any of name, channel, device, output, input, firmware, pace, state; or the chart."""
    wanted = _tidied(fields)
    if chart is not None:
        wanted["chart_text_id"] = keep_chart(pending.connection, chart, pending.at)
    row = pending.connection.execute(select(Instrument.__table__).where(Instrument.id == instrument)).mappings().first()
    if row is None or row["state"] == WITHDRAWN:
        raise Refused(f"There is no instrument number {instrument} in this library.")
    before = {column: row[column] for column in wanted}
    if before != wanted:
        pending.make("instrument.fields", [instrument], [before], [wanted])


def note(connection: Connection, instrument: int, fields: Mapping[str, Any]) -> bool:
    """Write these columns outside of the journal; True when one of them was another before."""
    wanted = _tidied(fields)
    row = connection.execute(select(Instrument.__table__).where(Instrument.id == instrument)).mappings().first()
    if row is None or all(row[column] == value for column, value in wanted.items()):
        return False
    connection.execute(update_rows(Instrument).where(Instrument.id == instrument).values(**wanted))
    return True


def _tidied(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Columns as they can be kept: port names and firmware come from outside and may hold anything."""
    tidy = {column: whole(value) if isinstance(value, str) else value for column, value in fields.items()}
    if "name" in tidy:
        tidy["name"] = clean_name(tidy["name"])
        if not tidy["name"]:
            raise BadInput("An instrument needs a name.")
    return tidy


_ROWS = (
    select(Instrument, ChartText.chart, ChartText.revision, ChartText.name.label("chart_name"))
    .join(ChartText, ChartText.id == Instrument.chart_text_id)
    .order_by(Instrument.id)
)


def rows(connection: Connection, *, removed: bool = False) -> tuple[InstrumentRow, ...]:
    """All instruments, oldest first; with `removed` those too that were taken away."""
    states = (LIVE, TRASHED) if removed else (LIVE,)
    found = connection.execute(_ROWS.where(Instrument.state.in_(states))).all()
    with as_kept():
        return tuple(_row(row) for row in found)


def row(connection: Connection, instrument: int) -> InstrumentRow:
    """One instrument, also a removed one. Raises `Refused` when there is none."""
    found = connection.execute(_ROWS.where(Instrument.id == instrument, Instrument.state != WITHDRAWN)).first()
    if found is None:
        raise Refused(f"There is no instrument number {instrument} in this library.")
    with as_kept():
        return _row(found)


def _row(found: Any) -> InstrumentRow:
    return InstrumentRow(
        id=found.id,
        name=found.name,
        chart=found.chart,
        revision=found.revision,
        chart_name=found.chart_name,
        address=Address(found.channel, found.device),
        output=found.output,
        input=found.input,
        firmware=found.firmware,
        pace=found.pace,
        removed=found.state == TRASHED,
    )


def chart_text(connection: Connection, chart: str, revision: int) -> str:
    """The newest text kept of this chart revision. Raises `Refused` when none is kept."""
    found = connection.execute(
        select(ChartText.text)
        .where(ChartText.chart == chart, ChartText.revision == revision)
        .order_by(ChartText.id.desc())
        .limit(1)
    ).scalar()
    if found is None:
        raise Refused(f"This library keeps no text of chart {chart}, revision {revision}.")
    return str(found)


def charts(connection: Connection) -> tuple[tuple[str, int, str], ...]:
    """(chart id, revision, name) of every chart kept, in the order of keeping."""
    found = connection.execute(select(ChartText.chart, ChartText.revision, ChartText.name).order_by(ChartText.id))
    return tuple(dict.fromkeys((chart, revision, name) for chart, revision, name in found))
