"""Tables about sections, repeated groups and selectors."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from librarian.chart.dump import model as dump
from librarian.chart.language.parameters import ParameterTable, Step
from librarian.chart.language.table import Byte7, Label, Table

Span = Annotated[list[Annotated[int, Field(ge=-1024, le=65536)]], Field(min_length=2, max_length=2)]


class SectionTable(Table):
    """A section of the front panel."""

    id: str = Field(min_length=1, max_length=80, description="Its name: a-z 0-9 . - _, unique.", examples=["filter"])
    label: Label = Field(description="Its title on the panel.", examples=["Filter"])
    row: Annotated[int, Field(ge=1, le=256)] = Field(default=1, description="Row of the panel, 1 at the top.")
    column: Annotated[int, Field(ge=1, le=64)] | None = Field(
        default=None, description="Place in the row, 1 at the left; absent: in the order of the file."
    )
    grid: Annotated[list[Annotated[int, Field(ge=1, le=64)]], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="Rows and columns of cells; absent: one row, as long as needed.", examples=[[2, 6]]
    )
    row_step: Step | None = Field(None, description="In a group: how much row grows with each index.")


class GroupTable(Table):
    """Sections and parameters, and messages with their layouts, repeated with an index: operators, voices, parts."""

    repeat: Annotated[dict[str, Span], Field(min_length=1, max_length=3)] = Field(
        description="Index names with first and last number; {name} stands for it in ids and labels. In messages and "
        "layouts of the group {n-1} and {n+64} can be written as well; in frames it becomes one byte.",
        examples=[{"n": [1, 4]}],
    )
    section: Annotated[list[SectionTable], Field(max_length=1024)] = Field(
        default_factory=list, description="[[group.section]]: sections, with {n} in id and label."
    )
    parameter: Annotated[list[ParameterTable], Field(max_length=4096)] = Field(
        default_factory=list, description="[[group.parameter]]: parameters, with {n} in id, label, short and section."
    )
    message: dict[str, dump.Message] = Field(
        default_factory=dict,
        description='[group.message."NAME{n}"]: a message for each round (128 at most). A `sequence` that names it so '
        "means all of them.",
        examples=[{"part{n}": {"answer": "F0 7D {device} 02 {n-1} {data} F7"}}],
    )
    layout: dict[str, dump.Layout] = Field(
        default_factory=dict,
        description='[group.layout."NAME{n}"]: a layout for each round.',
        examples=[{"part{n}": {"fields": ["part{n}.level"]}}],
    )


class SelectorTable(Table):
    """A controller that decides which parameter other controllers mean."""

    id: str = Field(min_length=1, max_length=80, description="Its name for `under` of bindings.", examples=["layer"])
    cc: Byte7 = Field(description="Controller number that selects.", examples=[9])
    label: Label | None = Field(default=None, description="What it is called on the instrument.")
