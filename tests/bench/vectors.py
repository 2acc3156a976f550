"""Every row of tests/data/vectors.csv, judged by the program itself: `python -m tests.bench.vectors`.

Each row names its source. The program's answer is put into the words of the file and compared with the expectation:
messages by the assembler, pairs and parameter numbers by the chart's listeners, checksums, packings and numbers by the
dump steps, universal dumps by a chart written for them (below), files by the reader of Standard MIDI Files.
Last line: `RESULT passed=N of=N`; rows that failed are listed before it.
"""

from __future__ import annotations

import argparse
import csv
import re
from collections.abc import Callable, Sequence
from pathlib import Path

from librarian.chart.controllers.binding import compile_binding
from librarian.chart.controllers.listener import Listener
from librarian.chart.controllers.receiver import ControllerReceiver
from librarian.chart.dump import Decoded
from librarian.chart.dump.steps.checksum import CHECKSUM_KINDS, checksum
from librarian.chart.dump.steps.number import Coding, read_digits
from librarian.chart.dump.steps.packing import PACKINGS
from librarian.chart.language.parameters import BindingTable
from librarian.errors import BadInput
from librarian.files import smf
from librarian.messages import ALL_CALL, Address, Arrival, Damaged, Message
from librarian.wire import universal
from librarian.wire.assembler import Assembler
from tests.dumped import codec_of, specs

TABLE = Path(__file__).parents[1] / "data" / "vectors.csv"

# Universal dumps as a chart describes them. Sources: sample dump packet M1 p.37, file dump packet M1 p.43, scale-octave
# dump and single note tuning: the updated MIDI Tuning specification and M1 p.49.
UNIVERSAL = """
[message.sample]
answer = "F0 7E {device} 02 {packet} {words} {sum} F7"
parts.packet = { is = "slot", of = "packet" }
parts.words = { is = "data", layout = "words" }
parts.sum = { is = "checksum", kind = "xor" }

[message.file]
answer = "F0 7E {device} 07 02 {packet} {count} {bytes} {sum} F7"
parts.packet = { is = "slot", of = "packet" }
parts.count = { is = "length", from = "bytes", plus = -1 }
parts.bytes = { is = "data", layout = "bytes", packing = "file_dump" }
parts.sum = { is = "checksum", kind = "xor" }

[message.octave]
answer = "F0 7E {device} 08 05 {bank} {program} {scale} {sum} F7"
parts.scale = { is = "data", layout = "scale" }
parts.sum = { is = "checksum", kind = "xor" }

[message.notes]
answer = "F0 7F {device} 08 02 {program} 02 {keys} F7"
parts.keys = { is = "data", layout = "keys" }

[layout.words]
fields = [{ gap = 120 }]

[layout.bytes]
fields = [{ repeat = "n", over = "0..9", fields = ["byte{n}"] }]

[layout.scale]
fields = [{ name = 16 }, { repeat = "n", over = "0..11", fields = [{ of = "cents{n}", coding = "offset" }] }]

[layout.keys]
fields = [{ repeat = "n", over = "0..1", fields = ["key{n}", "semitone{n}", { of = "fraction{n}", bytes = 2 }] }]
"""


def rows() -> list[tuple[str, bytes, str]]:
    """Name, bytes and expectation of every vector."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [(row["id"], bytes.fromhex(row["hex"]), row["expectation"]) for row in csv.DictReader(file)]


def judge(data: bytes, expectation: str) -> str:
    """What the program makes of these bytes, in the words of the file. The expectation only says what is asked."""
    asked = expectation.split(maxsplit=1)[0]
    special: dict[str, Callable[[bytes, str], str]] = {
        "checksum": _checksum,
        "unpack": _unpack,
        "number": _number,
        "cc14": _pair,
        "identity_request": _universal,
        "identity_reply": _universal,
        "nak": _universal,
        "master_volume": _universal,
        "sample_dump_packet": _dumped,
        "file_dump_packet": _dumped,
        "scale_octave_dump": _dumped,
        "note_tuning": _dumped,
        "smf": _file,
    }
    if expectation.startswith("error identity_reply"):
        return _universal(data, expectation)
    if asked in special:
        return special[asked](data, expectation)
    arrivals = _arrivals(data)
    if asked in ("switch", "bank", "mode", "rpn", "nrpn") or "ignored cc" in expectation:
        return "; ".join(_received([one.raw for one in arrivals if isinstance(one, Message)]))
    return "; ".join(map(_arrival, arrivals))


# --- messages ------------------------------------------------------------------------------------------------------


def _arrivals(data: bytes) -> list[Arrival]:
    assembler = Assembler()
    return [*assembler.feed(data, 0.0), *assembler.finish()]


def _arrival(arrival: Arrival) -> str:
    raw = arrival.raw
    shown = raw.hex(" ").upper()
    if isinstance(arrival, Damaged):
        undefined = len(raw) == 1 and raw[0] in (0xF4, 0xF5, 0xF9, 0xFD)
        word = "undefined" if undefined else "ignored"
        return f"error {arrival.kind} {shown}" if arrival.kind != "ignored" else f"{word} {shown}"
    status, channel = raw[0] & 0xF0, (raw[0] & 0x0F) + 1
    if raw[0] == 0xF2:
        return f"song_position {raw[1] | raw[2] << 7}"
    if raw[0] >= 0xF0:
        return {0xF0: f"sysex {shown}", 0xF6: "tune_request"}.get(raw[0], f"realtime {shown}")
    if status == 0xE0:
        return f"bend {channel} {raw[1] | raw[2] << 7}"
    if status == 0xB0:
        return f"{'cc' if raw[1] < 120 else 'mode'} {channel} {raw[1]} {raw[2]}"
    if status == 0x90:  # velocity 0 is a note off, in the file with the standard's 64 (M1 p.10)
        return f"{'note_on' if raw[2] else 'note_off'} {channel} {raw[1]} {raw[2] or 64}"
    return f"{ {0xC0: 'pc', 0xD0: 'pressure'}[status] } {channel} {raw[1]}"


def _received(raws: Sequence[bytes]) -> list[str]:
    receiver = ControllerReceiver()
    said: list[str] = []
    for raw in raws:
        event, channel = receiver.feed(raw), (raw[0] & 0x0F) + 1
        if event is None:
            if raw[0] & 0xF0 == 0xB0 and raw[1] in (6, 38, 96, 97):
                said.append(f"ignored cc {channel} {raw[1]} {raw[2]}")
        elif event.kind == "program":
            said += [f"bank {channel} {event.value}", f"pc {channel} {event.number}"]
        elif event.kind == "cc" and event.number >= 120:
            said.append(f"mode {channel} {event.number} {event.value}")
        elif event.kind == "cc" and event.number == 64:
            said.append(f"switch {channel} 64 {'on' if (event.value or 0) >= 64 else 'off'}")
        elif event.kind in ("rpn", "nrpn"):
            place = f"{event.kind} {channel} {event.number}"
            data = {"msb": f"msb {event.data}", "lsb": f"lsb {event.data} value {event.value}"}
            said.append(f"{place} {data.get(event.part or '', event.part or '')}")
    return said


def _pair(data: bytes, expectation: str) -> str:
    channel, number = (int(word) for word in expectation.split()[1:3])
    binding = compile_binding(BindingTable(cc14=number), "continuous", 0, 16383)
    listener = Listener([("pair", binding)], Address(channel=channel - 1), selectors={})
    said = []
    for arrival in _arrivals(data):
        heard = listener.feed(arrival.raw)
        said.append(f"cc14 {channel} {number} {heard[0].value if heard else 'unknown'}")
    return "; ".join(said)


def _universal(data: bytes, expectation: str) -> str:
    if data == universal.identity_request(data[2]):
        return f"identity_request device {data[2]}"
    if "identity_reply" in expectation:
        try:
            reply = universal.parse_identity(data)
        except universal.Malformed as bad:
            lengths = re.search(r"has (\d+) bytes; it should have (\d+)", str(bad))
            return f"error identity_reply length {lengths[1]} expected {lengths[2]}" if lengths else str(bad)
        return (
            f"identity_reply device {reply.device} manufacturer {reply.manufacturer.hex(' ').upper()} family "
            f"{reply.family} member {reply.member} revision {reply.revision.hex(' ').upper()}"
        )
    if expectation.startswith("master_volume"):
        device, value = universal.parse_master_volume(data)
        return f"master_volume device {device} value {value}"
    said = universal.parse_handshake(data)
    return f"{said.kind} device {said.device} packet {said.packet}"


# --- the steps of dumps --------------------------------------------------------------------------------------------


def _checksum(data: bytes, expectation: str) -> str:
    words = expectation.split()
    kind = next(each for each in CHECKSUM_KINDS if each == words[1])
    first, last = (int(word) for word in words[3].split("-"))
    value = checksum(kind, data[first - 1 : last])
    return f"checksum {kind} bytes {first}-{last} value {value:02X}" if data[last] == value else f"found {value:02X}"


def _unpack(data: bytes, expectation: str) -> str:
    packing = next(each for name, each in PACKINGS.items() if name == expectation.split()[1])
    raw = packing.unpack(data)
    return f"unpack {packing.name} {len(raw)} {raw.hex(' ').upper()}" if packing.pack(raw) == data else "differs"


def _number(data: bytes, expectation: str) -> str:
    order = "lsb_first" if "lsb_first" in expectation else "msb_first"
    value = Coding(7 * len(data), "offset").decode(read_digits(data, order))
    return f"number offset{7 * len(data)} {order} {value}"


def _dumped(data: bytes, _expectation: str) -> str:
    ranges = [(f"byte{n}", 0, 255) for n in range(10)] + [(f"cents{n}", -64, 63) for n in range(12)]
    ranges += [(f"{word}{n}", 0, high) for n in range(2) for word, high in (("key", 127), ("semitone", 127))]
    ranges += [(f"fraction{n}", 0, 16383) for n in range(2)]
    codec = codec_of(UNIVERSAL, specs(*ranges))
    decoded = codec.decode(data, Address(0, ALL_CALL))
    if codec.encode(decoded.message, {}, Address(0, ALL_CALL), base=data) != (data,):
        return "does not go back to its bytes"
    return {"sample": _sample, "file": _packet, "octave": _octave, "notes": _notes}[decoded.message](data, decoded)


def _sample(data: bytes, decoded: Decoded) -> str:
    return f"sample_dump_packet device {data[2]} packet {decoded.slots['packet']} checksum {data[-2]:02X} ok"


def _packet(data: bytes, decoded: Decoded) -> str:
    content = bytes(decoded.values[f"byte{n}"] for n in range(10)).hex(" ").upper()
    return f"file_dump_packet device {data[2]} packet {decoded.slots['packet']} data {content}"


def _octave(data: bytes, decoded: Decoded) -> str:
    cents = " ".join(str(decoded.values[f"cents{n}"]) for n in range(12))
    slots = decoded.slots
    return (
        f"scale_octave_dump device {data[2]} bank {slots['bank']} program {slots['program']} "
        f'name "{decoded.name}" cents {cents} checksum {data[-2]:02X} ok'
    )


def _notes(data: bytes, decoded: Decoded) -> str:
    """M1 p.48: the word is a key and a 14-bit fraction of 100 cents."""
    said = [f"note_tuning device {data[2]} program {decoded.slots['program']}"]
    for n in range(2):
        key = decoded.values[f"semitone{n}"] + decoded.values[f"fraction{n}"] / 16384
        said.append(f"key {decoded.values[f'key{n}']} {440 * 2 ** ((key - 69) / 12):.4f}")
    return " ".join(said)


# --- files ---------------------------------------------------------------------------------------------------------


def _file(data: bytes, expectation: str) -> str:
    """The parts of the expectation that the file can answer, each made anew from the events."""
    read = smf.from_bytes(data, "vector")
    head = f"smf format {read.format} division {read.division}"
    events = read.events
    # the reader keeps no end of track; where one was missing it says so in its notes
    total = len(events) + read.tracks if not read.notes else len(events)
    said = []
    for part in expectation.split("; "):
        if part.startswith("smf"):
            said.append(f"{head} {_first_part(events, total, part)}")
        elif part.startswith("raw"):
            said.append(next(f"raw {e.raw.hex(' ').upper()} at {e.tick}" for e in events if e.raw == bytes([0xF6])))
        else:
            _cc, channel, number, _value, _at, tick = part.split()
            status = 0xB0 | (int(channel) - 1)
            found = [e for e in events if e.tick == int(tick) and e.raw[:2] == bytes([status, int(number)])]
            said.append(f"cc {channel} {number} {found[0].raw[2]} at {found[0].tick}")
    return "; ".join(said)


def _first_part(events: Sequence[smf.Event], total: int, asked: str) -> str:
    if "events" in asked:
        return f"events {total} {_controller(events[_first_controller(events)])}"
    sysex = next(event for event in events if event.raw[:1] == b"\xf0")
    ticks = " ".join(str(tick) for tick in sysex.packets)
    return f"sysex {sysex.raw.hex(' ').upper()} in packets at {ticks}"


def _first_controller(events: Sequence[smf.Event]) -> int:
    return next(place for place, event in enumerate(events) if event.raw[:2] == bytes([0xB0, 74]))


def _controller(event: smf.Event) -> str:
    return f"cc {(event.raw[0] & 15) + 1} {event.raw[1]} {event.raw[2]} at {event.tick}"


def failures() -> tuple[list[str], int]:
    """One line for every row that is not as expected, and the number of rows."""
    wrong = []
    every = rows()
    for name, data, expectation in every:
        try:
            said = judge(data, expectation)
        except BadInput as refused:
            said = f"refused: {refused}"
        if said != expectation:
            wrong.append(f"{name}: expected {expectation!r}, got {said!r}")
    return wrong, len(every)


def main() -> None:
    """Judge every row; prints one RESULT line."""
    argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter).parse_args()
    wrong, total = failures()
    for line in wrong:
        print(line)
    print(f"RESULT passed={total - len(wrong)} of={total}")
    raise SystemExit(1 if wrong else 0)


if __name__ == "__main__":
    main()
