"""Which invented instrument uses each thing that a chart can say. All of them have bytes worked out by hand.

A row: what the language can say, the instrument, and where in its file it says so: keys from the outermost in, `*` for
any name or place in a list, and the value (None: any).
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.dumped import FOLDER
from tests.dumped_cases import CASES

PUBLISHED = Path(__file__).parent / "published"
PARTS = "message * parts *"
ROWS: list[tuple[str, str, str, Any]] = [
    # identity and address
    ("manufacturer ID of one byte", "thimble", "identity manufacturer", "7D"),
    ("manufacturer ID of three bytes", "wicker", "identity manufacturer", "00 7F 7F"),
    ("family", "lychgate", "identity family", None),
    ("member", "lychgate", "identity member", None),
    ("firmware that fits", "lychgate", "identity firmware from", "1.05"),
    ("device ID as it is", "thimble", "address device", 16),
    ("device ID in the low half of a byte", "brazier", "address device_rule", "nibble"),
    ("device ID added to a number", "sluice", "address device_rule", "offset"),
    ("no device ID", "mortise", "address device_rule", "absent"),
    ("fixed channel", "lychgate", "address channel_fixed", True),
    ("chosen channel", "lychgate-keys", "address channel_fixed", False),
    ("parts, each on its channel", "parapet", "message part steps channel", None),
    ("parts by a number in an address", "ratchet", "message * steps part", None),
    ("parts, each in a message of one form", "trellis", "group * message *", None),
    # messages
    ("edit buffer", "thimble", "message edit", None),
    ("one program", "trestle", "message * kind", "program"),
    ("a bank in one message", "tallow", "message bank kind", "bank"),
    ("a bank as many messages", "culvert", "message all each", "program"),
    ("set-up", "mortise", "message setup kind", "setup"),
    ("a single parameter by number", "mortise", "message one kind", "parameter"),
    ("a single parameter by address", "gantry", "message one of", "patch"),
    ("bytes that several parameters share", "brazier", "message one of", "voice"),
    ("packets with the standard's handshake", "spindle", "message edit handshake style", "universal"),
    ("packets with a handshake of its own", "tallow", "message * handshake style", "own"),
    ("packets without a handshake", "capstan", f"{PARTS} split", 8),
    ("addresses of 3 bytes", "gantry", f"{PARTS} bytes", 3),
    ("addresses of 4 bytes", "parapet", f"{PARTS} bytes", 4),
    ("blocks asked for as a whole", "brazier", "message voice begin", None),
    ("two maps of addresses in one frame", "parapet", "message system blocks", None),
    ("several messages that are one sound", "orlop", "message edit sequence", None),
    ("a frame of its own for writing", "cairn", "message edit write", None),
    ("program number", "sluice", "message program request", None),
    ("bank number", "sluice", "message program answer", None),
    ("part number", "culvert", "message program answer", None),
    ("size", "gantry", f"{PARTS} is", "size"),
    ("length in 7 bits", "capstan", "message edit parts length is", "length"),
    ("length of two bytes, lowest first", "sluice", f"{PARTS} order", "lsb_first"),
    ("length of two bytes, highest first", "brazier", "message voice parts count bytes", 2),
    ("reserved bytes", "culvert", f"{PARTS} is", "reserved"),
    ("layout by a version in the dump", "ferrule", f"{PARTS} layouts", None),
    ("layout by a version said once", "capstan", f"{PARTS} layouts", None),
    ("length that varies", "varnish", f"{PARTS} shortest", 0),
    ("a count of blocks", "varnish", f"{PARTS} unit", 2),
    ("command", "mortise", "message * kind", "command"),
    # packing
    ("nibbles, high first", "wicker", f"{PARTS} packing", "nibbles_high"),
    ("nibbles, low first", "sluice", f"{PARTS} packing", "nibbles_low"),
    ("eight to seven, file dump", "cairn", f"{PARTS} packing", "file_dump"),
    ("eight to seven, reversed", "trestle", f"{PARTS} packing", "reversed"),
    ("eight to seven, top bits after", "culvert", f"{PARTS} packing", "file_dump_after"),
    ("eight to seven, reversed, top bits after", "culvert", f"{PARTS} packing", "reversed_after"),
    ("one and seven bits", "bramble", f"{PARTS} packing", "split_high"),
    ("seven and one bits", "culvert", f"{PARTS} packing", "split_low"),
    ("a stream of bits", "tallow", f"{PARTS} packing", "bitstream"),
    ("a packed group in a plain message", "ferrule", f"{PARTS} is", "group"),
    ("packed for each message at addresses", "parapet", f"{PARTS} split_view", "unpacked"),
    ("packed as a whole, then cut", "capstan", f"{PARTS} packing", "file_dump"),
    # checksums
    ("XOR", "thimble", f"{PARTS} kind", "xor"),
    ("sum", "cairn", f"{PARTS} kind", "sum"),
    ("two's complement", "gantry", f"{PARTS} kind", "twos"),
    ("one's complement", "trestle", f"{PARTS} kind", "ones"),
    ("sum of 14 bits", "bramble", f"{PARTS} bits", 14),
    ("CRC-16", "varnish", f"{PARTS} polynomial", 0x8005),
    ("CRC-7", "capstan", f"{PARTS} polynomial", 0x09),
    ("reflected CRC", "varnish", f"{PARTS} reflected_in", True),
    ("a checksum that starts elsewhere", "capstan", f"{PARTS} start", 0xFFFF),
    ("over address and data", "gantry", f"{PARTS} from", "address"),
    ("over data alone", "thimble", f"{PARTS} from", "data"),
    ("from a byte on", "wicker", f"{PARTS} from", None),
    ("before packing", "cairn", f"{PARTS} view", "unpacked"),
    # fields
    ("bits of a byte", "wicker", "layout * fields * bits", None),
    ("a value spread over places", "bramble", "layout * fields * pieces", None),
    ("several bytes, lowest first", "cairn", "layout * fields * order", "lsb_first"),
    ("four nibbles", "gantry", "layout * fields * digit", 4),
    ("two's complement in a field", "parapet", "layout * fields * coding", "twos"),
    ("offset binary", "thimble", "layout * fields * coding", "offset"),
    ("a sign bit", "wicker", "layout * fields * coding", "sign"),
    ("an offset of its own", "wicker", "layout * fields * zero", 100),
    ("inverted", "wicker", "layout * fields * inverted", True),
    ("a table of codes", "bramble", "layout * fields * codes", "modes"),
    ("limits narrower than the bits", "ferrule", "layout * fields * high", None),
    ("a name in ASCII", "thimble", "layout * fields * name", 10),
    ("a name in a table of its own", "bramble", "layout * fields * charset", "own"),
    ("repeats, item by item", "spindle", "layout * fields * repeat", "n"),
    ("repeats, field by field", "bramble", "layout * fields * nesting", "fields"),
    ("bytes that nobody explains", "orlop", "layout * fields * gap", 1),
    # controllers
    ("controller", "lychgate", "parameter * bindings * cc", 74),
    ("scaled controller", "pennywhin", "parameter * bindings * map", "scaled"),
    ("steps at given bounds", "pennywhin", "parameter * bindings * bounds", None),
    ("inverted controller", "pennywhin", "parameter * bindings * inverted", True),
    ("controllers under a selector", "pennywhin", "parameter * bindings * under", None),
    ("a pair of controllers", "pennywhin", "parameter * bindings * cc14", None),
    ("a pair on two controllers of its own", "lychgate", "parameter * bindings * cc14", [24, 90]),
    ("a pair, the LSB first", "lychgate", "parameter * bindings * order", "lsb_first"),
    ("a pair in either order", "lychgate", "parameter * bindings * order", "either"),
    ("NRPN of 14 bits", "lychgate", "parameter * bindings * nrpn", 261),
    ("RPN of 7 bits", "lychgate", "parameter * bindings * rpn", 2),
    ("null after each", "lychgate", "controllers null", "after_each"),
    ("only transmitted", "pennywhin", "parameter * bindings * only", "transmitted"),
    ("only recognized", "pennywhin", "parameter * bindings * only", "recognized"),
    ("program change with bank select", "lychgate", "parameter * bindings * bank", "both"),
    ("controllers asked for by SysEx", "lychgate", "capture * request * sysex", None),
    ("controllers asked for by a program change", "lychgate", "capture * request * program", 127),
    ("end after a count", "lychgate", "capture * end count", 3),
    ("end after the last", "lychgate", "capture * end last", "level"),
    ("end after silence", "lychgate-keys", "capture * end silence_ms", 250),
    # ways
    ("capture by dump", "thimble", "capture * way", "dump"),
    ("capture by controllers", "lychgate", "capture * way", "controllers"),
    ("capture one by one", "parapet", "capture * way", "parameters"),
    ("capture by hand", "mortise", "capture * way", "hand"),
    ("recall by dump", "thimble", "recall * way", "dump"),
    ("recall by controllers", "lychgate", "recall * way", "controllers"),
    ("recall one by one", "gantry", "recall * way", "parameters"),
    ("into the memory", "brazier", "recall * into", "memory"),
    ("protection off before", "lychgate", "recall * before", None),
    ("store after", "lychgate", "recall * after", None),
    ("acknowledged", "wolfsbane", "recall * acknowledged", True),
    # display
    ("power scale", "lychgate", "parameter * display scale", "power"),
    ("exponential scale", "lychgate", "parameter * display scale", "exponential"),
    ("logarithmic scale", "lychgate", "parameter * display scale", "logarithmic"),
    ("square scale", "splintbox", "parameter * display scale", "square"),
    ("table", "quillfeather", "parameter * display points", None),
    ("decimals", "lychgate", "parameter * display decimals", 1),
    ("note names", "lychgate", "parameter * display form", "note"),
    ("ratio", "lychgate", "parameter * display form", "ratio"),
    ("a word at an end", "quillfeather", "parameter * display ends low", "off"),
    ("offset zero", "lychgate", "parameter * display zero", 64),
    ("named steps", "brazier", "parameter * positions", None),
    # panel
    ("rows and columns", "lychgate", "section * column", 2),
    ("a grid", "lychgate", "section * grid", None),
    ("a cell", "lychgate", "parameter * cell", None),
    ("a short label", "lychgate", "parameter * short", "Level"),
    ("a large control", "lychgate", "parameter * size", "large"),
    ("neighbours", "lychgate", "parameter * beside", "level"),
    ("takes over at once", "lychgate", "parameter * takeover", "jumps"),
    ("waits until passed", "lychgate", "panel takeover", "waits"),
    ("takes over scaled", "lychgate", "parameter * takeover", "scaled"),
    ("takes over nobody knows how", "lychgate", "parameter * takeover", "unknown"),
    ("can be asked for its pots", "lychgate", "panel positions_request", "pots"),
    # revisions and inheritance
    ("renamed", "lychgate", "history * changes * renamed", "volume"),
    ("moved", "lychgate", "history * changes * moved", "bend"),
    ("rescaled evenly", "lychgate", "history * changes * rescaled", "bend"),
    ("split", "lychgate", "history * changes * split", "register"),
    ("removed", "lychgate", "history * changes * removed", "spread"),
    ("rescaled by a table", "lychgate", "history * changes * points", None),
    ("merged", "lychgate", "history * changes * merged", None),
    ("added with a value", "lychgate", "history * changes * value", 2),
    ("added, unknown", "lychgate", "history * changes * added", "width"),
    ("without loss", "lychgate", "history * changes * lossless", True),
    ("inheritance", "lychgate-keys", "extends", "lychgate.toml"),
]


def proved() -> set[str]:
    """Instruments whose bytes were worked out by hand."""
    own = {"lychgate", "lychgate-keys", "tallow"}  # test_lychgate.py, test_dump_banks.py
    return own | {case.instrument for case in CASES} | {path.stem for path in (PUBLISHED / "worked").glob("*.toml")}


def table_of(name: str) -> dict[str, Any]:
    places = [folder / f"{name}.toml" for folder in (FOLDER, PUBLISHED / "charts")]
    return tomllib.loads(next(place for place in places if place.exists()).read_text(encoding="utf-8"))


def values_at(value: Any, keys: list[str]) -> Iterator[Any]:
    """Every value under these keys; a list inside a list of fields (a repeat) is entered too."""
    if not keys:
        yield value
        return
    key, rest = keys[0], keys[1:]
    if key == "*":
        for each in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            yield from values_at(each, rest)
            if isinstance(each, dict) and isinstance(each.get("fields"), list):
                yield from values_at(each["fields"], keys)
    elif isinstance(value, dict) and key in value:
        yield from values_at(value[key], rest)


@pytest.mark.parametrize(("item", "instrument", "place", "value"), ROWS, ids=[row[0] for row in ROWS])
def test_an_instrument_uses_it(item: str, instrument: str, place: str, value: Any) -> None:
    found = list(values_at(table_of(instrument), place.split()))
    assert found, f"{instrument} says nothing at {place}"
    assert value is None or value in found, f"{item}: {instrument} has {found} at {place}"
    assert instrument in proved()


def test_there_are_at_least_twelve_instruments() -> None:
    assert len({instrument for _item, instrument, _place, _value in ROWS}) >= 12
    assert len({item for item, *_rest in ROWS}) == len(ROWS)
