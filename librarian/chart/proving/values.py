"""Random values through the codecs of a chart: what is encoded must come back."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping

from librarian.chart import dump
from librarian.chart.chart import Chart
from librarian.chart.controllers.encode import encode
from librarian.chart.controllers.listener import Listener
from librarian.errors import LibrarianError
from librarian.messages import Address

_MOST_PROGRAMS = 8_192
"""Programs of a bank that are given values; enough for any instrument that travels over a cable."""


def sound(chart: Chart, chance: random.Random, extreme: int | None = None) -> dict[str, int]:
    """Values for every parameter: random, or all lowest (0) or all highest (1)."""
    if extreme is not None:
        return {name: one.high if extreme else one.low for name, one in chart.parameters.items()}
    return {name: chance.randint(one.low, one.high) for name, one in chart.parameters.items()}


def trouble_of_binding(chart: Chart, name: str, number: int, value: int, address: Address) -> str:
    """Why a value does not come back by one binding, or ''. A binding that cannot carry all may come back near."""
    one = chart.parameters[name]
    binding = one.bindings[number]
    selectors = chart.codec.selectors
    listener = Listener([(name, binding)], address, selectors=selectors)
    got: int | None = None
    for burst in encode([(name, binding)], {name: value}, address, selectors=selectors):
        for message in burst.messages:
            for heard in listener.feed(message):
                got = heard.value
    if got == value or (got is not None and not binding.exact and one.holds(got)):
        return ""
    return f"{name} by {binding.text}: {value} came back as {'nothing' if got is None else got}."


def dumps_of(
    chart: Chart, info: dump.MessageInfo, values: Mapping[str, int], chance: random.Random, address: Address
) -> tuple[tuple[bytes, ...], dict[str, int]]:
    """The messages of one dump that holds these values in every program, and the slots that were chosen.

    It gets a name of plain letters, unless the instrument's own characters have none of them.
    """
    slots = {word: chance.randint(low, high) for word, (low, high) in info.slots.items() if not info.each}
    if info.versions:
        slots["version"] = chance.choice(info.versions)
    form: dump.Form = "answer" if "answer" in info.forms or info.each else "write"
    title = "".join(chance.choice("ABCDEFGH0123") for _ in range(info.name_size)) if info.has_name else None
    try:
        return _written(chart, info, values, title, form, slots, address), slots
    except dump.NotWritable:
        return _written(chart, info, values, None, form, slots, address), slots
    except dump.NotStorable:
        if slots.pop("version", None) is None:
            raise
        return _written(chart, info, values, title, form, slots, address), slots  # only the usual version holds it


def _written(
    chart: Chart,
    info: dump.MessageInfo,
    values: Mapping[str, int],
    title: str | None,
    form: dump.Form,
    slots: Mapping[str, int],
    address: Address,
) -> tuple[bytes, ...]:
    if info.programs > 1 or info.each:
        sources = {number: dump.ProgramSource(values, title) for number in range(min(info.programs, _MOST_PROGRAMS))}
        return chart.codec.encode_bank(info.name, sources, address, values=values, base=None, form=form, **slots)
    return _one(chart, info.name, values, address, None, title, form, slots)


def trouble_of_dump(
    chart: Chart, info: dump.MessageInfo, values: Mapping[str, int], chance: random.Random, address: Address
) -> str:
    """Why values do not come back by one dump message, or ''."""
    try:
        raws, _ = dumps_of(chart, info, values, chance, address)
        decoded = chart.codec.decode_all(raws, address)
        return _differing(info, values, decoded) or _not_the_same(chart, info, raws, decoded, address)
    except LibrarianError as error:
        return f"{info.name}: {error}"


def _differing(info: dump.MessageInfo, values: Mapping[str, int], decoded: dump.Decoded) -> str:
    for program in decoded.programs or (decoded,):
        for name, value in program.values.items():
            if name in values and values[name] != value:
                return f"{info.name}: {name} was written as {values[name]} and read as {value}."
    seen = set(decoded.values).union(*(program.values for program in decoded.programs))
    absent = sorted(info.carries - seen) if len(info.versions) < 2 else []  # older layouts have less
    return f"{info.name}: {absent[0]} did not come back." if absent else ""


def _not_the_same(
    chart: Chart, info: dump.MessageInfo, raws: tuple[bytes, ...], decoded: dump.Decoded, address: Address
) -> str:
    again = written_again(chart, info, raws, decoded, address)
    return "" if again == raws else f"{info.name}: the dump written again from what was read is not the same."


def written_again(
    chart: Chart, info: dump.MessageInfo, raws: tuple[bytes, ...], decoded: dump.Decoded, address: Address
) -> tuple[bytes, ...]:
    """The dump encoded again, in the form and with the numbers that it came with, from the values that were read."""
    slots = {word: number for word, number in decoded.slots.items() if word in (*info.slots, "version")}
    if info.programs > 1 or info.each:
        sources = {one.number: dump.ProgramSource(one.values, one.name or None) for one in decoded.programs}
        if info.each:
            slots = {}
        return chart.codec.encode_bank(
            info.name, sources, address, values=decoded.values, base=raws, form=decoded.form, **slots
        )
    return _one(chart, info.name, decoded.values, address, raws, None, decoded.form, slots)


def _one(
    chart: Chart,
    message: str,
    values: Mapping[str, int],
    address: Address,
    base: tuple[bytes, ...] | None,
    name: str | None,
    form: dump.Form,
    slots: Mapping[str, int],
) -> tuple[bytes, ...]:
    return chart.codec.encode(message, values, address, base=base, base_program=0, name=name, form=form, **slots)


def trouble_of_single(chart: Chart, name: str, values: Mapping[str, int], address: Address) -> str:
    """Why a value of a sound does not come back by a SysEx message of its own, or ''."""
    value = values[name]
    try:
        raws = chart.codec.set_one(name, value, address, values)
        got = [pair for raw in raws for pair in chart.codec.heard(raw, address)]
    except LibrarianError as error:
        return f"{name} by SysEx: {error}"
    sharing = all(values.get(other) == heard for other, heard in got)  # those in the same bytes come along
    if (name, value) in got and sharing:
        return ""
    return f"{name} by SysEx: {value} came back as {dict(got).get(name, 'nothing')}."


def rounds(chart: Chart, seed: int, count: int) -> Iterator[tuple[dict[str, int], random.Random]]:
    """Sounds to try: all lowest, all highest, then random ones."""
    chance = random.Random(seed)
    for number in range(count):
        yield sound(chart, chance, number if number < 2 else None), chance
