"""One field on its own: how its number is coded, which values it can hold, which characters a name can have."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from librarian.chart.dump.model import Charset, Codes, NameField, ParameterField
from librarian.chart.dump.planning.places import Path
from librarian.chart.dump.specs import ParameterSpec
from librarian.chart.dump.steps.number import Coding
from librarian.chart.dump.steps.text import ASCII, NameCoding
from librarian.chart.nearest import nearest

Fault = Callable[[Path, str, str], None]


def coding_of(
    item: ParameterField, bits: int, spec: ParameterSpec, codes: Mapping[str, Codes], path: Path, fault: Fault
) -> Coding | None:
    """The coding of a field of `bits` bits, or None after telling `fault` what is wrong."""
    if item.zero is not None and item.coding != "offset":
        fault((*path, "zero"), "`zero` belongs to the coding offset.", 'Write coding = "offset", or take `zero` away.')
        return None
    if bits > 32:
        fault(path, f"The field has {bits} bits; a value has at most 32.", "Use fewer bytes or bits.")
        return None
    if item.codes is None:
        return Coding(bits, item.coding, item.zero, item.inverted)
    stored = item.codes
    if isinstance(stored, str):
        if stored not in codes:
            near = nearest(stored, codes)
            fault(
                (*path, "codes"),
                f"There is no table of codes named {stored}.",
                f"Did you mean {near}?" if near else f"Add [codes.{stored}] with stored = [...].",
            )
            return None
        stored = codes[stored].stored
    if item.inverted or item.coding != "plain":
        fault((*path, "codes"), "`codes` stands instead of coding and inverted.", "Take the others away.")
    low = spec.low if item.low is None else item.low
    count = (spec.high if item.high is None else item.high) - low + 1
    if len(stored) != count:
        fault(
            (*path, "codes"),
            f"{spec.id} has {count} values here, but there are {len(stored)} codes.",
            "Write one stored number for every value, from the lowest on.",
        )
        return None
    if len(set(stored)) != len(stored):
        twice = next(code for code in stored if stored.count(code) > 1)
        fault((*path, "codes"), f"The code {twice} stands for two values.", "Give every value its own code.")
        return None
    if max(stored) >> bits:
        fault(
            (*path, "codes"),
            f"The code {max(stored)} needs more than the {bits} bits of this field.",
            "Give the field more bits or bytes.",
        )
        return None
    return Coding(bits, "plain", None, False, tuple(stored), low)


def limits_of(
    item: ParameterField, coding: Coding, spec: ParameterSpec, path: Path, fault: Fault
) -> tuple[int, int] | None:
    """Lowest and highest value of the parameter in this field, or None after telling `fault` what is wrong."""
    low = spec.low if item.low is None else item.low
    high = spec.high if item.high is None else item.high
    for key, value in (("low", low), ("high", high)):
        if not spec.low <= value <= spec.high:
            fault(
                (*path, key),
                f"{spec.id} runs from {spec.low} to {spec.high}; {value} is outside.",
                "Write a limit within the parameter's own range.",
            )
            return None
    if low > high:
        fault((*path, "low"), f"The lowest value {low} is above the highest {high}.", "Exchange them.")
        return None
    lowest, highest = coding.limits()
    if low < lowest or high > highest:
        if low < 0 and coding.name == "plain":
            remedy = 'Say how the sign is stored: coding = "offset", "twos" or "sign".'
        else:
            remedy = (
                f"Use more bits or bytes, or narrow it with low = {max(low, lowest)} and high = {min(high, highest)}."
            )
        fault(
            path,
            f"{spec.id} runs from {low} to {high}, but {coding.bits} bits ({coding.name}) hold {lowest} to {highest}.",
            remedy,
        )
        return None
    return low, high


def name_coding_of(
    item: NameField, charsets: Mapping[str, Charset], bits: tuple[int, int] | None, path: Path, fault: Fault
) -> NameCoding | None:
    """The table, padding and length of a name, or None after telling `fault` what is wrong."""
    if item.charset == "ascii":
        table = ASCII
    elif item.charset in charsets:
        charset = charsets[item.charset]
        table = {charset.first + place: character for place, character in enumerate(charset.characters)}
        table.update({int(code, 0): character for code, character in charset.more.items()})
    else:
        near = nearest(item.charset, [*charsets, "ascii"])
        fault(
            (*path, "charset"),
            f"There is no table of characters named {item.charset}.",
            f"Did you mean {near}?" if near else f'Add [charset.{item.charset}] with characters = "...".',
        )
        return None
    pad = item.pad
    if pad is None:
        pad = next((code for code, character in table.items() if character == " "), 0)
    if bits is not None:
        width = bits[1] - bits[0] + 1
        table = {code: character for code, character in table.items() if not code >> width}
        if pad >> width:
            fault(
                (*path, "pad"),
                f"The code {pad} does not fit the {width} bits of a character.",
                "Write a smaller one."
                if width > 6
                else "Write bytes = 2 where a character takes two bytes, or a pad that fits.",
            )
            return None
    return NameCoding(item.name, pad, table)
