"""Small texts of the dump language: bytes, addresses and distances in 7-bit digits, ranges of bits, index series."""

from __future__ import annotations

HEX = frozenset("0123456789abcdefABCDEF")
MOST_INDEX_VALUES = 65_536


class NotReadable(ValueError):  # noqa: N818 - named like the other refusals
    """A text that says nothing in this language. `str()`: what is wrong; `remedy`: what to write instead."""

    def __init__(self, sentence: str, remedy: str) -> None:
        super().__init__(sentence)
        self.remedy = remedy


def read_address(text: str, bits: int = 7) -> tuple[int, int]:
    """ "10 00 2A" -> (262186, 3): the number that its 7-bit digits make, and how many digits it has.

    `bits`: in each digit, where an address travels in nibbles.
    """
    words = text.split()
    most = (1 << bits) - 1
    remedy = f'Write bytes of two hexadecimal digits, each at most {most:02X}, e.g. "10 00 2A".'
    if not words or len(words) > 8 or any(len(word) != 2 or not HEX.issuperset(word) for word in words):
        raise NotReadable(f"“{text}” is no address.", remedy)
    value = 0
    for word in words:
        digit = int(word, 16)
        if digit > most:
            raise NotReadable(
                f"“{text}” has the byte {word.upper()}; the bytes of an address stop at {most:02X}.", remedy
            )
        value = value << bits | digit
    return value, len(words)


def address_text(address: int, digits: int = 3, bits: int = 7) -> str:
    """262186 -> "10 00 2A"."""
    return " ".join(f"{address >> bits * place & (1 << bits) - 1:02X}" for place in reversed(range(digits)))


def read_distance(value: int | str) -> int:
    """A number as it is, or a text of 7-bit digits ("01 00" = 128)."""
    return value if isinstance(value, int) else read_address(value)[0]


def read_bits(value: int | str, highest: int, shift: int = 0) -> tuple[int, int]:
    """ "0-3" or 6 -> (lowest, highest bit), moved up by `shift`, within 0..`highest`."""
    remedy = (
        f'Write one bit as a number, or a range from low to high, within 0 to {highest}, e.g. "0-{min(3, highest)}".'
    )
    low: int | str
    high: int | str
    if isinstance(value, int):
        low = high = value
    else:
        low, dash, high = (word.strip() for word in value.partition("-"))
        if not dash:
            high = low
    if not _is_number(low) or not _is_number(high):
        raise NotReadable(f"“{value}” is no range of bits.", remedy)
    low, high = int(low) + shift, int(high) + shift
    if low > high:
        raise NotReadable(f"The bits “{value}” run backwards.", remedy)
    if high > highest:
        raise NotReadable(f"Bit {high} does not exist here.", remedy)
    return low, high


def read_series(value: str | list[str | int]) -> list[str]:
    """ "1..4" -> 1 2 3 4, "6..1" -> 6 5 ... 1, a list as it is; as texts for ids."""
    if isinstance(value, list):
        return [str(each) for each in value]
    remedy = 'Write the first and the last index as "1..4", or a list such as ["a", "b"].'
    first, dots, last = (word.strip() for word in value.partition(".."))
    if not dots or not _is_number(first) or not _is_number(last):
        raise NotReadable(f"“{value}” is no series.", remedy)
    begin, end = int(first), int(last)
    if abs(end - begin) >= MOST_INDEX_VALUES:
        raise NotReadable(f"“{value}” has more than {MOST_INDEX_VALUES} values.", remedy)
    step = 1 if end >= begin else -1
    return [str(index) for index in range(begin, end + step, step)]


def _is_number(text: int | str) -> bool:
    return isinstance(text, int) or (text.isascii() and text.isdigit() and len(text) < 10)
