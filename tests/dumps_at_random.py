"""Whole messages of a chart's dumps with values at random, and messages that are nearly such."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from random import Random
from typing import Any

from librarian.chart import Chart, NotWritable, load, shipped
from librarian.chart.dump import NotStorable
from librarian.messages import ALL_CALL, Address

DATA = Path(__file__).parent / "data"


@cache
def every_chart() -> tuple[Chart, ...]:
    """The shipped charts, and all invented ones of the tests."""
    invented = [path for folder in ("charts", "instruments") for path in sorted((DATA / folder).glob("*.toml"))]
    return tuple(load(path) for path in (*shipped().values(), *invented))


def dumps(
    chart: Chart, message: str, luck: Random, address: Address, numbers: Random | None = None
) -> tuple[bytes, ...]:
    """The messages of one dump. `numbers`: where program and the like come from, if not from `luck`."""
    codec = chart.codec
    info = codec.messages[message]
    values = {each: luck.randint(chart.parameters[each].low, chart.parameters[each].high) for each in info.carries}
    numbers = numbers or luck
    slots: dict[str, Any] = {
        word: numbers.randint(low, min(high, low + 200)) for word, (low, high) in info.slots.items()
    }
    if info.versions:
        slots["version"] = numbers.choice(info.versions)
    form = numbers.choice(sorted(info.forms - {"request"}))
    name = "".join(luck.choice("AB CE") for _ in range(luck.randint(0, info.name_size)))
    for _ in range(1000):
        try:
            return codec.encode(message, values, address, form=form, name=name, **slots)
        except NotStorable as refused:  # a field may hold less than its parameter can be
            parameter = chart.parameters[refused.parameter]
            values[parameter.id] = luck.choice((parameter.low, luck.randint(parameter.low, parameter.high)))
        except NotWritable:  # not every name can be written with the signs of every chart
            name = ""
    raise AssertionError(f"{chart.id} {message} cannot be written")


def addresses(chart: Chart, luck: Random) -> Address:
    """Mostly the instrument's own, sometimes another device's or channel's."""
    usual = chart.default_address
    device = luck.choice((usual.device, usual.device, usual.device, 5))
    return Address(luck.choice((usual.channel, usual.channel, usual.channel, 3)), 16 if device == ALL_CALL else device)


def damaged(raw: bytes, luck: Random) -> bytes:
    """One or two bytes changed, sometimes one more or less; F0 and F7 mostly stay."""
    out = bytearray(raw)
    for _ in range(luck.randint(1, 2)):
        out[luck.randrange(len(out))] = luck.choice((0, 1, 64, 127, luck.randrange(128), luck.randrange(256)))
    if not luck.randrange(6):
        del out[luck.randrange(len(out))]
    if not luck.randrange(6):
        out.insert(luck.randrange(len(out)), luck.randrange(128))
    return bytes(out)
