"""Tables about how a sound is captured and recalled."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from librarian.chart.language.table import Byte7, Label, Milliseconds, Number14, Table, wrong


class RequestTable(Table):
    """One message that asks for a dump of controllers."""

    cc: Byte7 | None = Field(default=None, description="A controller with `value`.", examples=[112])
    nrpn: Number14 | None = Field(default=None, description="An NRPN with `value` as 7-bit data.")
    value: Byte7 = Field(default=127, description="The value of cc or nrpn.")
    program: Byte7 | None = Field(default=None, description="A program change to this number (wire number, from 0).")
    sysex: str | None = Field(
        default=None,
        max_length=2000,
        description="A SysEx message in hexadecimal; {device} stands for the device byte, {channel} for the channel.",
        examples=["F0 7D {device} 01 F7"],
    )

    @model_validator(mode="after")
    def _one(self) -> RequestTable:
        given = [name for name in ("cc", "nrpn", "program", "sysex") if getattr(self, name) is not None]
        if len(given) != 1:
            raise wrong("a request has exactly one of cc, nrpn, program and sysex", "Write one table for each message.")
        if self.sysex is not None:
            _check_sysex(self.sysex)
        return self


def _check_sysex(text: str) -> None:
    try:
        raw = bytes.fromhex(text.replace("{device}", "00").replace("{channel}", "00"))
    except ValueError:
        raise wrong(
            f"“{text}” is not hexadecimal", "Write F0 … F7, with {device} or {channel} where they go."
        ) from None
    if len(raw) < 3 or raw[0] != 0xF0 or raw[-1] != 0xF7 or max(raw[1:-1]) > 0x7F:
        raise wrong(f"“{text}” is no SysEx message", "It begins with F0, ends with F7, and all between is below 80.")


class EndTable(Table):
    """How the end of a dump of controllers is known. The first that comes true ends it; silence always does."""

    count: Annotated[int, Field(ge=1, le=65536)] | None = Field(
        default=None, description="After this many different parameters.", examples=[22]
    )
    last: str | None = Field(default=None, description="After this parameter (its id).", examples=["output.volume"])
    silence_ms: Annotated[int, Field(ge=20, le=60_000)] = Field(
        default=500, description="After this long without a controller, milliseconds."
    )


class CaptureTable(Table):
    """One way of getting a sound out of the instrument. Preferred first."""

    way: Literal["dump", "controllers", "parameters", "hand"] = Field(
        description="dump: a SysEx message; controllers: it sends all its controllers; parameters: each is asked for "
        "by a message of its own; hand: each is moved once."
    )
    message: str | None = Field(
        default=None,
        description="dump: name of the [message.NAME] to ask for. If that has no request, the person starts the "
        "dump on the instrument, and capture by hand hears it.",
        examples=["edit"],
    )
    request: Annotated[list[RequestTable], Field(min_length=1, max_length=16)] | None = Field(
        default=None,
        description="controllers: what asks for them; absent: the person starts it on the instrument.",
        examples=[[{"cc": 112, "value": 127}]],
    )
    end: EndTable | None = Field(
        default=None, description="controllers: how the end is known.", examples=[{"count": 22}]
    )
    timeout_ms: Annotated[int, Field(ge=20, le=600_000)] = Field(
        default=2000, description="Longest wait for the first byte of the answer, milliseconds."
    )
    carries: Annotated[list[str], Field(min_length=1, max_length=65536)] | None = Field(
        default=None, description="controllers: ids of the parameters that come; absent: all that are transmitted."
    )
    label: Label | None = Field(default=None, description="What the way is called, for the person.")

    @model_validator(mode="after")
    def _fits(self) -> CaptureTable:
        if self.way == "dump" and self.message is None:
            raise wrong("The way “dump” needs the name of a message", "Add message = “…”.")
        if self.way != "dump" and self.message is not None:
            raise wrong(f"“message” has no meaning with way = “{self.way}”", "Leave it out, or write way = “dump”.")
        if self.way != "controllers" and (self.request or self.end or self.carries):
            raise wrong(
                f"“request”, “end” and “carries” have no meaning with way = “{self.way}”",
                "They are for way = “controllers”.",
            )
        return self


class RecallTable(Table):
    """One way of bringing a sound into the instrument. Preferred first."""

    way: Literal["dump", "controllers", "parameters", "program"] = Field(
        description="dump: a SysEx message; controllers: CC, NRPN, RPN; parameters: single-parameter SysEx messages; "
        "program: only a program change to a stored program.",
    )
    message: str | None = Field(
        default=None, description="dump: name of the [message.NAME] to send.", examples=["edit"]
    )
    into: Literal["edit buffer", "memory"] = Field(
        default="edit buffer", description="What it replaces: the sounding edit buffer, or a program of the memory."
    )
    before: Annotated[list[str], Field(max_length=16)] = Field(
        default_factory=list, description="Names of messages to send before (protection off)."
    )
    after: Annotated[list[str], Field(max_length=16)] = Field(
        default_factory=list, description="Names of messages to send after (store)."
    )
    acknowledged: bool = Field(default=False, description="true: the instrument answers ACK or NAK.")
    timeout_ms: Annotated[int, Field(ge=20, le=600_000)] = Field(
        default=2000, description="Longest wait for an acknowledgement, milliseconds."
    )
    settle_ms: Milliseconds = Field(default=0, description="Time it needs afterwards before it can be read back, ms.")
    label: Label | None = Field(default=None, description="What the way is called, for the person.")

    @model_validator(mode="after")
    def _fits(self) -> RecallTable:
        if self.way == "dump" and self.message is None:
            raise wrong("The way “dump” needs the name of a message", "Add message = “…”.")
        if self.way != "dump" and self.message is not None:
            raise wrong(f"“message” has no meaning with way = “{self.way}”", "Leave it out, or write way = “dump”.")
        return self
