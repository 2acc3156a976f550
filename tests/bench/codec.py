"""Speed of the compiled dump codec against plain Python functions written by hand for the same layouts.

(a) Lanternfish's edit buffer (263 bytes, packed), one message after another; (b) a bank of 128 programs of 128 bytes
with bit fields. The plain functions do what ours do: judge frame, device and checksum, unpack, name every value.
Last line: `RESULT decode_ratio=... encode_ratio=... bank_decode_ratio=... identical=1`, ratio = our time / plain time.
"""

from __future__ import annotations

import argparse
import random
import tomllib
from collections.abc import Callable, Sequence
from time import process_time
from typing import Any

from librarian.chart import dump, load, shipped
from librarian.messages import Address
from tests.bench.codec_plain import (
    BANK_TABLES,
    bank_fields,
    plain_bank_decode,
    plain_bank_encode,
    plain_decode,
    plain_encode,
)

ADDRESS = Address(channel=2, device=17)


def ratio(
    ours: Callable[..., object], plain: Callable[..., object], rows: Sequence[tuple[Any, ...]], rounds: int, block: int
) -> float:
    """Our processor time divided by the plain function's, the best of some rounds.

    The two take turns every `block` rows, because the machine is shared, and nothing is kept: results that pile up
    would measure the garbage collector.
    """
    found = []
    for _ in range(rounds):
        mine = theirs = 0.0
        for start in range(0, len(rows), block):
            part = rows[start : start + block]
            begin = process_time()
            for row in part:
                plain(*row)
            middle = process_time()
            for row in part:
                ours(*row)
            mine += process_time() - middle
            theirs += middle - begin
        found.append(mine / theirs)
    return min(found)


def edit_buffers(programs: int, rng: random.Random, rounds: int) -> tuple[float, float, float, bool]:
    """Decode ratio, encode ratio, encode ratio over a received dump, and whether the results are the same."""
    chart = load(shipped()["lanternfish"])
    codec = chart.codec.dumps
    specs = [(one.id, one.low, one.high) for one in chart.parameters.values()]
    sounds = [{identity: rng.randint(low, high) for identity, low, high in specs} for _ in range(programs)]
    names = [f"Sound {index}" for index in range(programs)]

    def ours_encode(sound: dict[str, int], name: str) -> bytes:
        return codec.encode("edit", sound, ADDRESS, name=name)[0]

    def ours_over_dump(sound: dict[str, int], name: str) -> bytes:
        return codec.encode("edit", sound, ADDRESS, name=name, base=raws[0])[0]

    def plainly_encode(sound: dict[str, int], name: str) -> bytes:
        return plain_encode(sound, name, ADDRESS.device)

    raws = [ours_encode(sound, name) for sound, name in zip(sounds, names, strict=True)]
    identical = raws == [plainly_encode(sound, name) for sound, name in zip(sounds, names, strict=True)]
    for raw, sound, name in zip(raws, sounds, names, strict=True):
        one = codec.decode(raw, ADDRESS)
        identical &= (dict(one.values), one.name) == plain_decode(raw, ADDRESS.device) == (sound, name)
    singly = [(raw,) for raw in raws]
    decode = ratio(
        lambda raw: codec.decode(raw, ADDRESS), lambda raw: plain_decode(raw, ADDRESS.device), singly, rounds, 500
    )
    pairs = list(zip(sounds, names, strict=True))
    encode = ratio(ours_encode, plainly_encode, pairs, rounds, 500)
    return decode, encode, ratio(ours_over_dump, plainly_encode, pairs, rounds, 500), identical


def banks(programs: int, rng: random.Random, rounds: int) -> tuple[float, float, bool]:
    """Decode ratio of whole banks (each program a mapping), of the bulk path, and whether the results are the same."""
    tables = tomllib.loads(BANK_TABLES)
    fields = bank_fields()
    specs = {name: dump.ParameterSpec(name, low, high) for name, low, high in fields}
    dumps = dump.Dumps(
        message={name: dump.Message.model_validate(table) for name, table in tables["message"].items()},
        layout={name: dump.Layout.model_validate(table) for name, table in tables["layout"].items()},
    )
    rule = dump.AddressRule(manufacturer=b"\x7d", programs=128)
    problems = dump.check(dumps, specs, rule)
    if problems:
        raise SystemExit(str(problems[0]))
    codec = dump.compile(dumps, specs, rule)
    count = max(1, programs // 128)
    sounds = [[{name: rng.randint(low, high) for name, low, high in fields} for _ in range(128)] for _ in range(count)]
    raws = [plain_bank_encode(bank, ADDRESS.device) for bank in sounds]
    ours = [codec.decode(raw, ADDRESS) for raw in raws]
    identical = [[dict(one.values) for one in bank.programs] for bank in ours] == sounds
    identical &= [plain_bank_decode(raw, ADDRESS.device) for raw in raws] == sounds
    sources = {index: dump.ProgramSource(values) for index, values in enumerate(sounds[0])}
    identical &= codec.encode_bank("bank", sources, ADDRESS) == (raws[0],)
    grouped = [b"".join(one.images["programs"] for one in bank.programs) for bank in ours]
    identical &= [list(codec.decode_many("voice", images)) for images in grouped] == sounds
    del ours
    rows = list(zip(raws, grouped, strict=True))
    whole = ratio(
        lambda raw, _images: codec.decode(raw, ADDRESS),
        lambda raw, _images: plain_bank_decode(raw, ADDRESS.device),
        rows, rounds, 4,
    )  # fmt: skip
    bulk = ratio(
        lambda _raw, images: list(codec.decode_many("voice", images)),
        lambda raw, _images: plain_bank_decode(raw, ADDRESS.device),
        rows, rounds, 4,
    )  # fmt: skip
    return whole, bulk, identical


def main() -> None:
    """Run with options; prints one RESULT line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--programs", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    rng = random.Random(options.seed)
    decode, encode, over_base, same = edit_buffers(options.programs, rng, options.rounds)
    bank, bulk, bank_same = banks(options.programs, rng, options.rounds)
    print(
        f"RESULT decode_ratio={decode:.2f} encode_ratio={encode:.2f} bank_decode_ratio={bank:.2f} "
        f"encode_over_dump_ratio={over_base:.2f} bulk_decode_ratio={bulk:.2f} "
        f"programs={options.programs} identical={int(same and bank_same)}"
    )


if __name__ == "__main__":
    main()
