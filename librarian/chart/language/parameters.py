"""Tables about parameters and their bindings."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from librarian.chart.language.display import DisplayTable
from librarian.chart.language.table import Byte7, Channel, Label, Number14, Table, Whole, one_or, wrong

Kind = Literal["continuous", "stepped", "bipolar", "switch"]
MapName = Literal["direct", "scaled", "stepped", "top_bits", "centred"]
Cell = Annotated[list[Annotated[int, Field(ge=1, le=64)]], Field(min_length=2, max_length=2)]
Step = one_or(Whole, dict[str, Whole])

Halves = Annotated[list[Byte7], Field(min_length=2, max_length=2)]

TRAVELS = ("cc", "cc14", "nrpn", "rpn", "program")


class BindingTable(Table):
    """How a parameter travels as a controller message. Exactly one of cc, cc14, nrpn, rpn and program."""

    cc: Byte7 | None = Field(default=None, description="Controller number, 7 bits.", examples=[74])
    cc14: one_or(Byte7, Halves) | None = Field(  # type: ignore[valid-type]
        None,
        description="Controller pair, 14 bits: the MSB's number (0-31, its LSB 32 higher), or [MSB, LSB] numbers.",
        examples=[16, [20, 21]],
    )
    nrpn: one_or(Number14, Halves) | None = Field(  # type: ignore[valid-type]
        default=None, description="NRPN number, MSB · 128 + LSB, or [MSB, LSB].", examples=[261, [2, 5]]
    )
    rpn: one_or(Number14, Halves) | None = Field(  # type: ignore[valid-type]
        default=None, description="RPN number, MSB · 128 + LSB, or [MSB, LSB].", examples=[2, [0, 2]]
    )
    program: Literal[True] | None = Field(default=None, description="true: the value travels as a program change.")
    bank: Literal["none", "msb", "lsb", "both"] = Field(
        default="none", description="program: which bank select controllers go before; value = bank · 128 + program."
    )
    bits: Literal[7, 14] | None = Field(default=None, description="nrpn, rpn: 7 or 14 bits of data; 14 if absent.")
    half: Literal["msb", "lsb"] = Field(
        default="msb", description="nrpn, rpn with 7 bits: data entry by CC 6 or by CC 38."
    )
    order: Literal["msb_first", "lsb_first", "either"] = Field(
        default="msb_first", description="cc14: which half is sent first; either: sent MSB first, heard in both orders."
    )
    map: MapName | None = Field(
        default=None,
        description="From value to number on the wire. direct: value + offset; scaled: the range spread over the "
        "wire's range; stepped: the middle of equal bins, or the numbers in values; top_bits: the low bits are "
        "dropped; centred: bit scaling that keeps the centre. Absent: direct, for a switch stepped.",
    )
    offset: Whole | None = Field(default=None, description="direct: number added to the value.", examples=[64])
    wire: Annotated[list[Number14], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="Lowest and highest number used on the wire.", examples=[[0, 100]]
    )
    values: Annotated[list[Number14], Field(min_length=2, max_length=256)] | None = Field(
        default=None,
        description="stepped: the number sent for each position, lowest first.",
        examples=[[0, 32, 64, 127]],
    )
    bounds: Annotated[list[Number14], Field(min_length=2, max_length=256)] | None = Field(
        default=None,
        description="stepped: the lowest number heard as each position; absent: the nearest of values.",
        examples=[[0, 20, 40, 90]],
    )
    inverted: bool = Field(default=False, description="true: the highest value is the lowest number on the wire.")
    only: Literal["transmitted", "recognized"] | None = Field(
        default=None, description="The instrument only sends it, or only obeys it; absent: both."
    )
    channel: Channel | None = Field(default=None, description="Always on this channel instead of the instrument's.")
    channel_offset: Annotated[int, Field(ge=0, le=15)] = Field(
        default=0, description="This many channels above the instrument's (parts of a multitimbral instrument)."
    )
    under: dict[str, Number14] | None = Field(
        default=None, description="Holds only while these selectors have these numbers.", examples=[{"layer": 1}]
    )
    step: Step | None = Field(  # type: ignore[valid-type]
        None, description="In a group: how much the controller number grows with each index.", examples=[1, {"n": 8}]
    )
    channel_step: Step | None = Field(  # type: ignore[valid-type]
        None, description="In a group: how much channel or channel_offset grows with each index."
    )

    @property
    def travels(self) -> str:
        """Which of the five kinds it is."""
        return next(name for name in TRAVELS if getattr(self, name) is not None)

    @property
    def number(self) -> int:
        """The 14-bit number of an nrpn or rpn binding."""
        given = self.nrpn if self.nrpn is not None else self.rpn
        return given[0] << 7 | given[1] if isinstance(given, list) else int(given or 0)

    @model_validator(mode="after")
    def _one_kind(self) -> BindingTable:
        kinds = [name for name in TRAVELS if getattr(self, name) is not None]
        if len(kinds) != 1:
            said = " and ".join(kinds) if kinds else "none of them"
            raise wrong(
                f"a binding has exactly one of cc, cc14, nrpn, rpn and program; this one has {said}",
                "Write one table for each way it travels: bindings = [{ cc = 74 }, { nrpn = 261 }].",
            )
        self._keys_fit(kinds[0])
        if isinstance(self.cc14, list) and self.cc14[0] == self.cc14[1]:
            raise wrong("“cc14” as a list is the MSB's and the LSB's number", "Write two different numbers: [20, 21].")
        if isinstance(self.cc14, int) and self.cc14 > 31:
            raise wrong(
                f"controller {self.cc14} has no LSB partner: pairs are 0-31 with 32-63",
                "Name both numbers, [MSB, LSB], or use cc.",
            )
        return self

    def _keys_fit(self, kind: str) -> None:
        if self.bits is not None and kind not in {"nrpn", "rpn"}:
            raise wrong(f"“bits” has no meaning with {kind}", "Leave it out: cc has 7 bits, cc14 has 14.")
        if self.half == "lsb" and self.bits != 7:
            raise wrong("“half” = “lsb” is for 7-bit data", "Add bits = 7.")
        if self.order != "msb_first" and kind != "cc14":
            raise wrong(f"“order” has no meaning with {kind}", "It is for cc14.")
        if self.bank != "none" and kind != "program":
            raise wrong(f"“bank” has no meaning with {kind}", "It is for program = true.")
        if (self.values is not None or self.bounds is not None) and self.map not in {None, "stepped"}:
            raise wrong(f"“values” and “bounds” have no meaning with map = “{self.map}”", "Write map = “stepped”.")
        if self.offset is not None and self.map not in {None, "direct"}:
            raise wrong(f"“offset” has no meaning with map = “{self.map}”", "It is for map = “direct”.")
        if self.wire is not None and self.wire[0] >= self.wire[1]:
            raise wrong("“wire” is not a range", "Write the lower number first: [0, 100].")


class ParameterTable(Table):
    """One control of the sound, or of the player's set-up."""

    id: str = Field(
        min_length=1,
        max_length=80,
        description="Its name for files and searches: a-z 0-9 . - _, unique.",
        examples=["filter.cutoff"],
    )
    label: Label = Field(description="Its name on the panel.", examples=["Cutoff"])
    short: Annotated[str, Field(min_length=1, max_length=20)] | None = Field(
        default=None, description="A shorter label where there is little room.", examples=["Cut"]
    )
    section: str = Field(description="Id of the section it stands in.", examples=["filter"])
    kind: Kind = Field(default="continuous", description="How the control is built and drawn.")
    range: Annotated[list[Whole], Field(min_length=2, max_length=2)] | None = Field(
        default=None,
        description="Lowest and highest value, in the instrument's own units; absent: as many as positions.",
        examples=[[0, 127]],
    )
    positions: Annotated[list[Label], Field(min_length=2, max_length=16384)] | None = Field(
        default=None,
        description="Names of the positions of a stepped control or switch, lowest first.",
        examples=[["sine", "saw", "pulse"]],
    )
    display: one_or(str, DisplayTable) | None = Field(  # type: ignore[valid-type]
        None, description="How a value reads: a table, or the name of a [display.NAME].", examples=["percent"]
    )
    default: Whole | None = Field(default=None, description="Value of an initialised sound, if one is known.")
    setup: bool = Field(default=False, description="true: belongs to the player or the room; recall leaves it alone.")
    takeover: Literal["jumps", "waits", "scaled", "unknown"] | None = Field(
        default=None, description="How the physical control takes over after a recall; absent: as [panel] says."
    )
    bindings: Annotated[list[BindingTable], Field(max_length=16)] = Field(
        default_factory=list, description="How it travels, preferred first.", examples=[[{"cc": 74}, {"nrpn": 261}]]
    )
    by_hand: bool = Field(default=False, description="true: no message sets it, only a hand on the panel does.")
    cell: Cell | None = Field(
        default=None,
        description="Row and column inside the section, from 1; absent: the next free one.",
        examples=[[1, 3]],
    )
    size: Literal["small", "normal", "large"] = Field(default="normal", description="Size of the control on the panel.")
    beside: str | None = Field(default=None, description="Id of a neighbouring control that it belongs with.")
    note: str = Field(default="", description="A remark for the person.")
