"""How fast bytes become messages: `python -m tests.bench.intake [--mb 64] [--seed 1] [--slice 1] [--stream 8]`.

The input is half SysEx messages of 6 to 4,104 bytes, half bursts of controllers with a status byte each (mido loses
running status), with active sensing about as often as an instrument sends it, where mido survives it. `ratio` is the
time `mido.Parser` needs per byte (measured on the first `--slice` MB) divided by that of `split_all` on everything;
`listed_ratio` has every message's bytes made as well; `stream_ratio` is the `Assembler`, fed 256 bytes at a time.
`same=1`: all three give exactly mido's messages on the slice, and each other's on what they share.
"""

from __future__ import annotations

import argparse
import random
import time

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


def by_mido(data: bytes) -> tuple[list[bytes], float]:
    """(bytes of each message, seconds); making the bytes is not timed."""
    start = time.perf_counter()
    parser = mido.Parser()
    parser.feed(data)
    messages = list(parser)
    seconds = time.perf_counter() - start
    return [bytes(message.bytes()) for message in messages], seconds


def by_stream(data: bytes) -> tuple[list[bytes], float]:
    """(bytes of each message, seconds); collecting the bytes is not timed."""
    chunks = [data[place : place + CHUNK] for place in range(0, len(data), CHUNK)]
    start = time.perf_counter()
    assembler = Assembler()
    batches = [assembler.feed(chunk, 0.0) for chunk in chunks]
    batches.append(assembler.finish())
    seconds = time.perf_counter() - start
    return [arrival.raw for batch in batches for arrival in batch], seconds


def main() -> None:
    """Print what was measured, and the RESULT line last."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--mb", type=float, default=64.0, help="megabytes for the bulk entry")
    options.add_argument("--slice", type=float, default=1.0, help="megabytes of it for mido")
    options.add_argument("--stream", type=float, default=8.0, help="megabytes of it in chunks of 256 bytes")
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()

    data = mixed(int(chosen.mb * MEGABYTE), chosen.seed)
    part, streamed = data[: int(chosen.slice * MEGABYTE)], data[: int(chosen.stream * MEGABYTE)]

    start = time.perf_counter()
    split = split_all(data)
    bulk_s = time.perf_counter() - start
    start = time.perf_counter()
    raws = list(split.raws())
    listed_s = bulk_s + time.perf_counter() - start
    mido_raws, mido_s = by_mido(part)
    stream_raws, stream_s = by_stream(streamed)

    mido_per_byte = mido_s / len(part)
    # The last message of a slice may be cut by its end; mido keeps silent about it.
    same = (
        mido_raws == raws[: len(mido_raws)] == list(split_all(part).raws())[: len(mido_raws)]
        and sum(map(len, mido_raws)) > len(part) - 4200
        and stream_raws[:-1] == raws[: len(stream_raws) - 1]
    )
    print(f"{len(data):,} bytes, {len(raws):,} messages")
    for name, seconds, count in (
        ("mido.Parser", mido_s, len(part)),
        ("split_all", bulk_s, len(data)),
        ("split_all, listed", listed_s, len(data)),
        ("Assembler, 256 bytes", stream_s, len(streamed)),
    ):
        print(f"{name:22} {count / MEGABYTE / seconds:8.2f} MB/s")
    print(
        f"RESULT ratio={mido_per_byte * len(data) / bulk_s:.0f} same={int(same)}"
        f" stream_ratio={mido_per_byte * len(streamed) / stream_s:.0f}"
        f" listed_ratio={mido_per_byte * len(data) / listed_s:.0f}"
    )


if __name__ == "__main__":
    main()
