"""What crossed the cables, in both directions, with times: bounded, and saved as text or as a file to replay."""

from __future__ import annotations

import json
import math
import threading
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from librarian.errors import BadInput, OutsideProblem
from librarian.messages import Arrival, Damaged

Direction = Literal["in", "out"]

_KIND = "librarian traffic"
_EDITION = 1


@dataclass(frozen=True, slots=True)
class Crossing:
    """One message or piece of damage. `number` runs from 1 and is never used twice; `at` is in seconds.

    `direction` is the computer's: 'out' to the instrument. `damage` is the reason, '' for a whole message.
    """

    number: int
    at: float
    cable: str
    direction: Direction
    raw: bytes
    damage: str = ""


class Traffic:
    """The latest crossings of any number of cables; the oldest go when there are too many. For any thread."""

    def __init__(self, most: int = 100_000, most_bytes: int = 16 * 1024 * 1024) -> None:
        self._most = most
        self._most_bytes = most_bytes
        self._kept: deque[Crossing] = deque()
        self._bytes = 0
        self._number = 0
        self._lock = threading.Lock()

    def sent(self, cable: str, raw: bytes, at: float) -> None:
        """Keep a message that has been handed to the port."""
        self._keep(cable, "out", raw, at, "")

    def came(self, cable: str, arrival: Arrival) -> None:
        """Keep what the assembler made of the incoming bytes."""
        damage = arrival.reason if isinstance(arrival, Damaged) else ""
        self._keep(cable, "in", arrival.raw, arrival.at, damage)

    def _keep(self, cable: str, direction: Direction, raw: bytes, at: float, damage: str) -> None:
        with self._lock:
            self._number += 1
            self._kept.append(Crossing(self._number, at, cable, direction, raw, damage))
            self._bytes += len(raw)
            while len(self._kept) > self._most or (self._bytes > self._most_bytes and len(self._kept) > 1):
                self._bytes -= len(self._kept.popleft().raw)

    def after(self, number: int = 0) -> tuple[Crossing, ...]:
        """What is kept with a higher number than this, oldest first."""
        with self._lock:
            newer: deque[Crossing] = deque()
            for crossing in reversed(self._kept):
                if crossing.number <= number:
                    break
                newer.appendleft(crossing)
            return tuple(newer)

    def clear(self) -> None:
        """Forget everything kept; numbers go on."""
        with self._lock:
            self._kept.clear()
            self._bytes = 0


def as_text(crossings: Iterable[Crossing], meaning: Callable[[Crossing], str] | None = None) -> str:
    """One line each: milliseconds since the first, cable, direction, bytes in hexadecimal, damage.

    `meaning`: what a crossing says, in words; then the bytes stand after it in square brackets.
    """
    lines = []
    first: float | None = None
    for crossing in crossings:
        first = crossing.at if first is None else first
        arrow = "->" if crossing.direction == "out" else "<-"
        shown = crossing.raw.hex(" ").upper()
        if meaning is not None:
            shown = f"{meaning(crossing)}  [{shown}]"
        elif crossing.damage:
            shown = f"{shown}  ({crossing.damage})"
        lines.append(f"{(crossing.at - first) * 1000:12.3f} ms  {crossing.cable} {arrow} {shown}\n")
    return "".join(lines)


def save(path: Path, crossings: Iterable[Crossing], about: Mapping[str, Any] | None = None) -> None:
    """Write a file that `load` reads back: JSON, one object a line, the first one saying what this is.

    `about`: what else a reader must know to have the same conversation again (plain JSON values); see `read_about`.
    Raises `OutsideProblem` when the file cannot be written.
    """
    crossings = tuple(crossings)
    head: dict[str, Any] = {"file": _KIND, "edition": _EDITION, "messages": len(crossings)}
    lines = [json.dumps(head if about is None else {**head, "about": dict(about)})]
    for crossing in crossings:
        entry: dict[str, str | float] = {
            "at": round(crossing.at, 6),
            "cable": crossing.cable,
            "direction": crossing.direction,
            "bytes": crossing.raw.hex(" "),
        }
        if crossing.damage:
            entry["damage"] = crossing.damage
        lines.append(json.dumps(entry))
    try:
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutsideProblem(f"{path} could not be written: {error.strerror}.") from error


def cut_from(path: Path) -> int | None:
    """How many messages were saved, where the file holds fewer now: it was cut. None where it is whole, or old."""
    head, lines = _lines(path)
    saved = head.get("messages")
    there = sum(bool(line.strip()) for line in lines)
    return saved if isinstance(saved, int) and there < saved else None


def load(path: Path) -> tuple[Crossing, ...]:
    """Read a file of `save`; numbers start at 1. Raises `BadInput` naming the line, `OutsideProblem` if unreadable."""
    _, lines = _lines(path)
    return tuple(_crossing(path, number, line) for number, line in enumerate(lines, 2) if line.strip())


def read_about(path: Path) -> dict[str, Any]:
    """What `save` was told beside the crossings; {} when that was nothing. Raises as `load` does."""
    head, _ = _lines(path)
    about = head.get("about", {})
    if not isinstance(about, dict):
        raise BadInput(f"{path}, line 1: 'about' is not a JSON object.")
    return about


def _lines(path: Path) -> tuple[dict[str, object], list[str]]:
    """The head, and the lines after it."""
    try:
        lines = path.read_text(encoding="utf-8").split("\n")
    except OSError as error:
        raise OutsideProblem(f"{path} could not be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise BadInput(f"{path} is not a saved traffic file: it is not UTF-8 text.") from error
    try:
        head = _object(path, 1, lines[0])
    except BadInput as problem:
        raise BadInput(
            f"{path} is not a saved traffic file: its first line is not what this program writes.",
            "One that was saved as text is for reading; save the traffic as a file to be replayed.",
        ) from problem
    if head.get("file") != _KIND:
        raise BadInput(f"{path} is not a saved traffic file: its first line does not say so.")
    if head.get("edition") != _EDITION:
        raise BadInput(f"{path} is of edition {head.get('edition')}; this program reads edition {_EDITION}.")
    return head, lines[1:]


def _object(path: Path, number: int, line: str) -> dict[str, object]:
    try:
        found = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise BadInput(
            f"{path}, line {number}: not a JSON object.",
            "If that is its last line, the file was cut there: take the line out, and the rest can be used.",
        ) from error
    if not isinstance(found, dict):
        raise BadInput(f"{path}, line {number}: not a JSON object.")
    return found


def _crossing(path: Path, number: int, line: str) -> Crossing:
    entry = _object(path, number, line)
    at, cable, direction = entry.get("at"), entry.get("cable"), entry.get("direction")
    shown, damage = entry.get("bytes"), entry.get("damage", "")
    if isinstance(at, bool) or not isinstance(at, int | float) or not math.isfinite(at):
        raise BadInput(f"{path}, line {number}: 'at' is not a number of seconds.")
    if not isinstance(cable, str) or not isinstance(damage, str):
        raise BadInput(f"{path}, line {number}: 'cable' and 'damage' are texts.")
    if direction not in get_args(Direction):
        raise BadInput(f"{path}, line {number}: 'direction' is 'in' or 'out'.")
    try:
        raw = bytes.fromhex(shown) if isinstance(shown, str) else b""
    except ValueError:
        raw = b""
    if not raw:
        raise BadInput(f"{path}, line {number}: 'bytes' is not a row of hexadecimal bytes.")
    return Crossing(number - 1, float(at), cable, "in" if direction == "in" else "out", raw, damage)
