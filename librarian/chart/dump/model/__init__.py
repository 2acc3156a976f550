"""The language of `[message.*]`, `[layout.*]`, `[charset.*]` and `[codes.*]` as pydantic models: shapes and types only.

What the words mean together (sizes, ranges, overlaps) is judged in `librarian.chart.dump.planning.check`.
"""

from librarian.chart.dump.model.layout import (
    Charset,
    Codes,
    Gap,
    Item,
    Layout,
    NameField,
    ParameterField,
    PieceOf,
    Repeat,
)
from librarian.chart.dump.model.message import Block, Handshake, Message
from librarian.chart.dump.model.parts import (
    AddressPart,
    ChannelPart,
    ChecksumPart,
    DataPart,
    DevicePart,
    GroupPart,
    LengthPart,
    PacketPart,
    ParameterPart,
    Part,
    ReservedPart,
    SizePart,
    SlotPart,
    ValuePart,
    VersionPart,
)

__all__ = [
    "AddressPart",
    "Block",
    "ChannelPart",
    "Charset",
    "ChecksumPart",
    "Codes",
    "DataPart",
    "DevicePart",
    "Gap",
    "GroupPart",
    "Handshake",
    "Item",
    "Layout",
    "LengthPart",
    "Message",
    "NameField",
    "PacketPart",
    "ParameterField",
    "ParameterPart",
    "Part",
    "PieceOf",
    "Repeat",
    "ReservedPart",
    "SizePart",
    "SlotPart",
    "ValuePart",
    "VersionPart",
]
