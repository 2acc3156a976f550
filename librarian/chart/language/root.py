"""The whole chart as a table of tables."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from librarian.chart.dump import model as dump
from librarian.chart.language.display import DisplayTable
from librarian.chart.language.head import AddressTable, IdentityTable, MemoryTable, PaceTable, PanelTable
from librarian.chart.language.history import HistoryTable
from librarian.chart.language.implementation import ImplementationTable
from librarian.chart.language.panel import GroupTable, SectionTable, SelectorTable
from librarian.chart.language.parameters import ParameterTable
from librarian.chart.language.table import Label, Table
from librarian.chart.language.ways import CaptureTable, RecallTable

MOST_ENTRIES = 65_536


class ControllersTable(Table):
    """Rules for all controllers of the instrument."""

    null: Literal["after_group", "after_each", "never"] = Field(
        default="after_group",
        description="Whether NRPN or RPN null is sent: after the last of a group, after each, never.",
    )


class ChartTable(Table):
    """A machine-readable MIDI implementation chart: everything known about one model."""

    id: Annotated[str, Field(min_length=1, max_length=60)] = Field(
        description="Its name for files: a-z 0-9 . - _.", examples=["lanternfish"]
    )
    name: Label = Field(description="Name of the model.", examples=["Lanternfish"])
    revision: Annotated[int, Field(ge=1, le=1_000_000)] = Field(
        default=1, description="Revision of this chart; raise it when the map changes."
    )
    extends: str | None = Field(
        default=None,
        max_length=200,
        description="File name of a chart in the same folder that this one varies.",
        examples=["lanternfish.toml"],
    )
    note: str = Field(default="", description="A remark for the person.")
    identity: IdentityTable = Field(default_factory=IdentityTable, description="Who answers.")
    address: AddressTable = Field(default_factory=AddressTable, description="Where it listens.")
    pace: PaceTable = Field(default_factory=PaceTable, description="How fast it may be fed.")
    memory: MemoryTable | None = Field(default=None, description="Its own memory; absent: it has none.")
    panel: PanelTable = Field(default_factory=PanelTable, description="Its physical panel.")
    controllers: ControllersTable = Field(default_factory=ControllersTable, description="Rules for controllers.")
    implementation: ImplementationTable = Field(
        default_factory=ImplementationTable, description="What the paper chart tells besides."
    )
    display: dict[str, DisplayTable] = Field(default_factory=dict, description="[display.NAME]: displays to share.")
    section: list[SectionTable] = Field(default_factory=list, description="[[section]]: sections of the panel.")
    parameter: list[ParameterTable] = Field(default_factory=list, description="[[parameter]]: the parameters.")
    selector: list[SelectorTable] = Field(default_factory=list, description="[[selector]]: controllers that select.")
    message: dict[str, dump.Message] = Field(default_factory=dict, description="[message.NAME]: SysEx messages.")
    layout: dict[str, dump.Layout] = Field(default_factory=dict, description="[layout.NAME]: fields of a payload.")
    charset: dict[str, dump.Charset] = Field(default_factory=dict, description="[charset.NAME]: letters of names.")
    codes: dict[str, dump.Codes] = Field(default_factory=dict, description="[codes.NAME]: codes and their values.")
    group: list[GroupTable] = Field(default_factory=list, description="[[group]]: what is repeated with an index.")
    capture: list[CaptureTable] = Field(default_factory=list, description="[[capture]]: ways out, preferred first.")
    recall: list[RecallTable] = Field(default_factory=list, description="[[recall]]: ways in, preferred first.")
    history: Annotated[list[HistoryTable], Field(max_length=1024)] = Field(
        default_factory=list, description="[[history]]: how each revision became the next."
    )
