"""Small grammar for sentences made from facts: counts, lists of names, rates, times."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

THIN_SPACE = "\N{THIN SPACE}"
_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def count_word(count: int, *, capital: bool = False) -> str:
    """A count as a word up to twelve, as figures beyond: "two", "13"."""
    word = _WORDS[count] if 0 <= count < len(_WORDS) else figures(count)
    return word[:1].upper() + word[1:] if capital else word


def figures(count: int) -> str:
    """Figures with a thin space between thousands: 2 940."""
    return f"{count:,}".replace(",", THIN_SPACE)


def counted(count: int, one: str, many: str | None = None) -> str:
    """Figures with the fitting noun: "1 port", "3 ports"."""
    return f"{figures(count)} {one if count == 1 else many or one + 's'}"


def listed(names: Sequence[str], most: int = 4) -> str:
    """Names as one enumeration: "Cutoff, Drive and Glide"; of many only the first: "A, B and 9 more"."""
    if not names:
        return ""
    if len(names) > most:
        head, rest = names[: most - 1], len(names) - (most - 1)
        return f"{', '.join(head)} and {figures(rest)} more"
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} and {names[-1]}"


def rate(bytes_per_second: float) -> str:
    """Bytes per second as it stands beside a plug: "0 B/s", "2 940 B/s"."""
    return f"{figures(round(bytes_per_second))} B/s"


def seconds_left(seconds: float | None) -> str:
    """", about 2 s left", or nothing when it is not known."""
    if seconds is None:
        return ""
    if seconds >= 90:
        return f", about {round(seconds / 60)} min left"
    return f", about {max(1, round(seconds))} s left"


def time_left(seconds: float) -> str:
    """"11 s left", "2 min left"."""
    return f"{round(seconds / 60)} min left" if seconds >= 90 else f"{max(1, round(seconds))} s left"


def counted_in(count: int, unit: str) -> str:
    """Figures with what they count, as a job names it: "64 programs"; bytes in the size that is read easily."""
    return size(count) if unit == "bytes" else f"{figures(count)} {unit}".strip()


def size(count: int) -> str:
    """Bytes for people: "263 bytes", "12 kB", "3.4 MB"."""
    if count < 10_000:
        return counted(count, "byte")
    return f"{round(count / 1000)} kB" if count < 1_000_000 else f"{count / 1_000_000:.1f} MB"


def clock_time(moment: datetime) -> str:
    """The local time of day: "19:42"."""
    return (moment.astimezone() if moment.tzinfo else moment).strftime("%H:%M")


def day(moment: datetime, today: datetime | None = None) -> str:
    """The local day: "12 Mar", with the year when it is not this one."""
    local = moment.astimezone() if moment.tzinfo else moment
    now = (today.astimezone() if today is not None and today.tzinfo else today) or datetime.now().astimezone()
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    text = f"{local.day} {months[local.month - 1]}"
    return text if local.year == now.year else f"{text} {local.year}"


def quoted(name: str) -> str:
    """A name in the quotation marks that the sentences use."""
    return f"“{name}”"
