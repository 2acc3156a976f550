"""Dates and plain spans, as people type them, to a stretch of time."""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

_MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
           "december")  # fmt: skip
_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_UNITS = {"hour": 0, "day": 1, "week": 7, "month": 30, "year": 365}
_NUMBERS = {"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "ten": 10}

#: "march 32" is a slip of the hand, not a year.
_FIRST_YEAR = 1000
_ISO = re.compile(r"(\d{4})(?:[-/.](\d{1,2})(?:[-/.](\d{1,2}))?)?")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})")
_AGO = re.compile(r"(\d{1,4}|[a-z]+) (hour|day|week|month|year)s?(?: ago)?")
#: Words that begin or continue a span, for the completion and for the parser's look ahead.
WORDS = ("today", "yesterday", "this week", "last week", "this month", "last month", "this year", "last year")


@dataclass(frozen=True, slots=True)
class Span:
    """From `start` (included) to `end` (not included), both aware."""

    start: datetime
    end: datetime


class _Here(tzinfo):
    """The clock of this computer. Each moment has the offset of its own day: in summer, January is in winter time."""

    def utcoffset(self, moment: datetime | None) -> timedelta | None:
        return None if moment is None else moment.replace(tzinfo=None).astimezone().utcoffset()

    def dst(self, moment: datetime | None) -> timedelta | None:  # noqa: ARG002 - not known, as the base class allows
        return None

    def tzname(self, moment: datetime | None) -> str | None:
        return None if moment is None else moment.replace(tzinfo=None).astimezone().tzname()

    def fromutc(self, moment: datetime) -> datetime:
        return moment.replace(tzinfo=UTC).astimezone().replace(tzinfo=self)


_HERE = _Here()


def here_and_now() -> datetime:
    """The present for `span`, in the person's time zone."""
    return datetime.now(_HERE)


def span(text: str, now: datetime) -> Span | None:
    """The stretch of time that `text` names, in the time zone of `now`; None when it names none.

    Taken: "2026", "2026-03", "2026-03-12", "2026/3/12", "12.3.2026", "today", "yesterday", "last week", "this month",
    "tuesday" (the last one), "march", "march 2025", "12 march", "3 days ago", "2 weeks".
    """
    typed = " ".join(text.casefold().replace(",", " ").split())
    try:
        days = _days(typed, now.date())
        if days is not None:
            return _span(*days, now.tzinfo)
        return _ago(typed, now)
    except (ValueError, OverflowError):
        return None


def _span(first: date, after: date, zone: tzinfo | None) -> Span:
    return Span(datetime.combine(first, time(), zone), datetime.combine(after, time(), zone))


def _days(typed: str, today: date) -> tuple[date, date] | None:
    """First day and the day after the last one."""
    iso = _ISO.fullmatch(typed)
    if iso:
        return _calendar(int(iso[1]), iso[2] and int(iso[2]), iso[3] and int(iso[3]))
    dotted = _DOTTED.fullmatch(typed)
    if dotted:
        return _calendar(int(dotted[3]), int(dotted[2]), int(dotted[1]))
    named = _named(typed, today)
    return named if named is not None else _month(typed, today)


def _calendar(year: int, month: int | str | None, day: int | str | None) -> tuple[date, date]:
    if not month:
        return date(year, 1, 1), date(year + 1, 1, 1)
    number = int(month)
    if not day:
        return date(year, number, 1), date(year, number, monthrange(year, number)[1]) + timedelta(days=1)
    one = date(year, number, int(day))
    return one, one + timedelta(days=1)


def _named(typed: str, today: date) -> tuple[date, date] | None:
    one = timedelta(days=1)
    monday = today - timedelta(days=today.weekday())
    first = today.replace(day=1)
    match typed:
        case "today":
            return today, today + one
        case "yesterday":
            return today - one, today
        case "this week":
            return monday, monday + 7 * one
        case "last week":
            return monday - 7 * one, monday
        case "this month":
            return _calendar(today.year, today.month, None)
        case "last month":
            before = first - one
            return _calendar(before.year, before.month, None)
        case "this year":
            return _calendar(today.year, None, None)
        case "last year":
            return _calendar(today.year - 1, None, None)
    day = _begun(typed.removeprefix("last "), _DAYS)
    if day is not None:
        back = (today.weekday() - day) % 7 or (7 if typed.startswith("last ") else 0)
        return today - back * one, today - (back - 1) * one
    return None


def _month(typed: str, today: date) -> tuple[date, date] | None:
    """ "march", "march 2025", "12 march", "march 12", "12 march 2025": without a year, the last one that has begun."""
    month = day = year = None
    for part in typed.split():
        number = int(part) if part.isdecimal() else None
        if number is None and month is None:
            month = _begun(part, _MONTHS)
            if month is None:
                return None
        elif number is not None and number >= _FIRST_YEAR and year is None:
            year = number
        elif number is not None and 1 <= number <= 31 and day is None:
            day = number
        else:
            return None
    if month is None:
        return None
    found = _calendar(year or today.year, month + 1, day)
    return _calendar(today.year - 1, month + 1, day) if year is None and found[0] > today else found


def _begun(part: str, names: tuple[str, ...]) -> int | None:
    """Index of the name that begins with at least three letters of `part`."""
    if len(part) < 3:
        return None
    return next((place for place, name in enumerate(names) if name.startswith(part)), None)


def _ago(typed: str, now: datetime) -> Span | None:
    """ "3 days ago", "2 weeks": from then until now."""
    found = _AGO.fullmatch(typed)
    if not found:
        return None
    count = int(found[1]) if found[1].isdecimal() else _NUMBERS.get(found[1])
    if count is None:
        return None
    back = timedelta(hours=count) if found[2] == "hour" else timedelta(days=count * _UNITS[found[2]])
    return Span(now - back, now)
