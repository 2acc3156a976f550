"""How fast bytes become messages: `python -m tests.bench.intake`, with --mb, --seed, --slice, --stream, --rounds.

The input is half SysEx messages of 6 to 4,104 bytes, half bursts of controllers with a status byte each (mido loses
running status), with active sensing about as often as an instrument sends it, where mido survives it. `ratio` is the
time `mido.Parser` needs per byte (measured on the first `--slice` MB) divided by that of `split_all` on everything;
`listed_ratio` has every message's bytes made as well; `stream_ratio` is the `Assembler`, fed 256 bytes at a time.
`same=1`: all of them give exactly the same messages on the slice.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Callable, Iterator, Mapping

import mido
import numpy as np

from librarian.wire.assembler import Assembler
from librarian.wire.bulk import split_all

MEGABYTE = 1_000_000
CHUNK = 256
SENSING_EVERY = 940  # bytes of a busy wire in 300 ms
SEVEN_BITS = bytes(value & 0x7F for value in range(256))


def mixed(size: int, seed: int) -> bytes:
    """At least `size` bytes; the same seed gives the same bytes."""
    dice = random.Random(seed)
    pieces: list[bytes] = []
    length = silence = 0
    while length < size:
        if dice.random() < 0.5:
            body = b"\x7d" + dice.randbytes(dice.choice((3, 12, 60, 160, 405, 1021, 4101))).translate(SEVEN_BITS)
            place = dice.randrange(len(body))
            sensing = b"\xfe" if silence > SENSING_EVERY else b""
            piece = b"\xf0" + body[:place] + sensing + body[place:] + b"\xf7"
        else:
            burst = np.frombuffer(dice.randbytes(3 * dice.choice((1, 4, 43, 128, 820))), np.uint8).reshape(-1, 3) & 0x7F
            burst[:, 0] = 0xB0 | burst[:, 0] & 0x0F
            sensing = b"\xfe" if silence > SENSING_EVERY else b""
            piece = burst.tobytes() + sensing
        silence = 0 if sensing else silence + len(piece)
        pieces.append(piece)
        length += len(piece)
    return b"".join(pieces)


def by_mido(data: bytes) -> float:
    """Seconds of the processor for feeding and for taking each message out, none of which is kept."""
    start = time.process_time()
    parser = mido.Parser()
    for chunk in chunks(data):
        parser.feed(chunk)
        for _ in parser:
            pass
    return time.process_time() - start


def by_stream(data: bytes) -> float:
    """The same with the `Assembler`."""
    start = time.process_time()
    assembler = Assembler()
    for chunk in chunks(data):
        for _ in assembler.feed(chunk, 0.0):
            pass
    assembler.finish()
    return time.process_time() - start


def by_bulk(data: bytes) -> float:
    """`split_all`."""
    start = time.process_time()
    split_all(data)
    return time.process_time() - start


def listed(data: bytes) -> float:
    """`split_all`, and the bytes of every message made from it."""
    start = time.process_time()
    for _ in split_all(data).raws():
        pass
    return time.process_time() - start


def chunks(data: bytes) -> Iterator[bytes]:
    """Pieces of 256 bytes."""
    return (data[place : place + CHUNK] for place in range(0, len(data), CHUNK))


def same_messages(data: bytes) -> bool:
    """True if all roads give the messages of mido. A message that the end of the input cuts off is not mido's."""
    parser = mido.Parser()
    parser.feed(data)
    wanted = [bytes(message.bytes()) for message in parser]
    assembler = Assembler()
    streamed = [arrival.raw for chunk in chunks(data) for arrival in assembler.feed(chunk, 0.0)]
    return wanted == streamed == list(split_all(data).raws())[: len(wanted)] and bool(wanted)


def rates(jobs: Mapping[str, tuple[Callable[[bytes], float], bytes]], rounds: int) -> dict[str, float]:
    """Bytes per second, the best of some rounds in turn: other programs share the machine."""
    seconds = dict.fromkeys(jobs, float("inf"))
    for _ in range(rounds):
        for name, (measure, data) in jobs.items():
            seconds[name] = min(seconds[name], measure(data))
    return {name: len(data) / seconds[name] for name, (_, data) in jobs.items()}


def main() -> None:
    """Print what was measured, and the RESULT line last."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--mb", type=float, default=64.0, help="megabytes for the bulk entry")
    options.add_argument("--slice", type=float, default=0.5, help="megabytes of it for mido")
    options.add_argument("--stream", type=float, default=2.0, help="megabytes of it in chunks of 256 bytes")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--rounds", type=int, default=5, help="how often each is measured, in turn; the best counts")
    chosen = options.parse_args()

    data = mixed(int(chosen.mb * MEGABYTE), chosen.seed)
    part, streamed = data[: int(chosen.slice * MEGABYTE)], data[: int(chosen.stream * MEGABYTE)]
    jobs = {
        "mido.Parser": (by_mido, part),
        "Assembler, 256 bytes": (by_stream, streamed),
        "split_all": (by_bulk, data),
        "split_all, listed": (listed, data),
    }
    measured = rates(jobs, chosen.rounds)
    print(f"{len(data):,} bytes, {len(split_all(data)):,} messages")
    for name, found in measured.items():
        print(f"{name:20} {found / MEGABYTE:8.2f} MB/s")
    _, stream_ratio, ratio, listed_ratio = (found / measured["mido.Parser"] for found in measured.values())
    print(
        f"RESULT ratio={ratio:.0f} same={int(same_messages(part))}"
        f" stream_ratio={stream_ratio:.1f} listed_ratio={listed_ratio:.0f}"
    )


if __name__ == "__main__":
    main()
