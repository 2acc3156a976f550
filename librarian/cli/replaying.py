"""A saved traffic log as the conversation it was: the same functions, on a cable that answers as the instrument did."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from librarian import transfer
from librarian.chart import Chart
from librarian.cli.reading import chart_text
from librarian.collection.plain import of_plain
from librarian.errors import BadInput, Cancelled, LibrarianError
from librarian.messages import Address, Version
from librarian.transfer import Cancel, Line, ReplayedCable, bringup
from librarian.transfer.before import NotKept
from librarian.transfer.replay import Ended
from librarian.wire import traffic

Options = Mapping[str, Any]
Held = tuple[str, Options, str]
"""A conversation of the file: its name, its options, how it ended."""


@dataclass(frozen=True)
class Replay:
    """What a run over a log came to; see `answers.Replayed`."""

    instrument: str
    chart: Chart
    conversation: str
    crossings: int
    then: str
    now: str
    unexpected: tuple[bytes, ...]
    left: tuple[bytes, ...]
    remarks: tuple[str, ...] = ()
    """What explains a difference: the file was cut, or is read by another chart."""

    @property
    def same(self) -> bool:
        """True when it sent what it sent then and (where the log says so) ended as it did then."""
        return not self.unexpected and not self.left and self.then in {"", self.now}


def _identify(line: Line, options: Options, cancel: Cancel) -> str:
    return transfer.identify(line, device=options.get("device"), cancel=cancel).sentence


def _capture(line: Line, options: Options, cancel: Cancel) -> str:
    program = options.get("program")
    if isinstance(program, int):
        return transfer.capture_program(line, program, cancel=cancel).sentence
    return transfer.capture(line, way=options.get("way"), cancel=cancel).sentence


def _by_hand(line: Line, options: Options, cancel: Cancel) -> str:  # noqa: ARG001 - it has none
    cable = line.cable
    assert isinstance(cable, ReplayedCable)
    return transfer.capture_by_hand(line, enough=_Exhausted(cable), cancel=cancel).sentence


def _recall(line: Line, options: Options, cancel: Cancel) -> str:
    return transfer.recall(
        line,
        of_plain(options.get("version")),
        verify=bool(options.get("verify", True)),
        with_setup=bool(options.get("with_setup", False)),
        whole=bool(options.get("whole", False)),
        way=options.get("way"),
        keep_before=_refusing(options),
        cancel=cancel,
    ).sentence


def _verify(line: Line, options: Options, cancel: Cancel) -> str:
    version = of_plain(options.get("version"))
    with_setup = bool(options.get("with_setup", False))
    return transfer.verify(line, version, with_setup=with_setup, cancel=cancel).sentence


def _backup(line: Line, options: Options, cancel: Cancel) -> str:
    programs, done = options.get("programs"), options.get("done", {})
    return transfer.backup(
        line,
        programs=None if programs is None else [int(number) for number in programs],
        done={int(number): of_plain(one) for number, one in done.items()},
        cancel=cancel,
    ).sentence


def _restore(line: Line, options: Options, cancel: Cancel) -> str:
    allowed = set(options.get("allowed", ()))
    return transfer.restore(
        line,
        {int(number): of_plain(one) for number, one in options.get("programs", {}).items()},
        allow=lambda question: question.number in allowed,
        keep_before=_not_kept,
        cancel=cancel,
    ).sentence


def _not_kept(number: int, version: Version) -> None:
    """What a replay reads was kept then."""


def _refusing(options: Options) -> Callable[[object], None] | None:
    """Where what was there could not be kept then, the conversation ends there again."""
    said = options.get("not_kept")
    if said is None:
        return None

    def refuse(_what: object) -> None:
        raise NotKept(str(said))

    return refuse


def _bring_up(line: Line, options: Options, cancel: Cancel) -> str:
    write_memory, seed = bool(options.get("write_memory", False)), int(options.get("seed", 1))
    refuse = _refusing(options)

    def keep_before(place: str, before: Version) -> None:
        if place and "memory_not_kept" in options:
            raise NotKept(str(options["memory_not_kept"]))
        if not place and refuse is not None:
            refuse(before)

    return bringup.bring_up(
        line, write_memory=write_memory, seed=seed, keep_before=keep_before, lose=refuse, cancel=cancel
    ).sentence


def _panic(line: Line, options: Options, cancel: Cancel) -> str:  # noqa: ARG001 - nothing of it to say or to end
    transfer.panic(line, wait_s=1.0)
    return ""


CONVERSATIONS: dict[str, Callable[[Line, Options, Cancel], str]] = {
    "identify": _identify,
    "capture": _capture,
    "capture by hand": _by_hand,
    "recall": _recall,
    "verify": _verify,
    "backup": _backup,
    "restore": _restore,
    "bring-up": _bring_up,
    "panic": _panic,
}


def replayed(path: Path, *, chart: Chart | None, conversation: str | None, cable: str, options: Options) -> Replay:
    """Run a log. What the file does not say must be given; what is given goes before what it says.

    Raises BadInput where chart or conversation are not known, or the file is none.
    """
    crossings = traffic.load(path)
    about = traffic.read_about(path)
    described = chart if chart is not None else _chart_in(path, about)
    held = _held(path, about) if conversation is None else [(conversation, options, "")]
    for name, _, _ in held:
        if name not in CONVERSATIONS:
            raise BadInput(f"There is no conversation “{name}”.", f"There are: {', '.join(CONVERSATIONS)}.")
    if not crossings:
        raise BadInput(f"{path} holds no message.", "It was saved before anything had crossed the cable.")
    ended = _ended(path, about) if conversation is None else None
    played = ReplayedCable(crossings, cable or str(about.get("cable", "")), ended=ended)
    line = Line(played, described, _address(path, about, described), name=str(about.get("instrument", "")))
    line.twins = _twins(path, about)
    asked = bool(about.get("asked", False))
    now = [
        _run(line, name, given, played.cancel, asked=asked and count == 0)
        for count, (name, given, _) in enumerate(held)
    ]
    return Replay(
        instrument=line.name,
        chart=described,
        conversation=", then ".join(name for name, _, _ in held),
        crossings=len(crossings),
        then="; ".join(outcome for _, _, outcome in held),
        now="; ".join(now),
        unexpected=tuple(played.unexpected),
        left=played.left,
        remarks=_remarks(path, about, described, len(crossings)),
    )


def _remarks(path: Path, about: Options, described: Chart, there: int) -> tuple[str, ...]:
    saved = traffic.cut_from(path)
    found = [] if saved is None else [f"The file was cut: it holds {there} of {saved} messages."]
    try:
        then = _chart_in(path, about)
    except BadInput:  # it was given instead
        return tuple(found)
    if (then.id, then.revision) != (described.id, described.revision):
        found.append(
            f"Logged with the chart {then.id} revision {then.revision}, read by {described.id} revision "
            f"{described.revision}."
        )
    return tuple(found)


def _held(path: Path, about: Options) -> list[Held]:
    held = about.get("conversations", [])
    if not held:
        raise BadInput(
            f"{path} does not say which conversation it was.", f"Say --as with one of: {', '.join(CONVERSATIONS)}."
        )
    try:
        return [(str(one["conversation"]), dict(one["options"]), str(one["outcome"])) for one in held]
    except (KeyError, TypeError, ValueError) as error:
        raise BadInput(f"{path}, line 1: 'conversations' is not what this program writes.") from error


def _ended(path: Path, about: Options) -> Ended | None:
    """Whether the last of them was ended from outside."""
    given = about["conversations"][-1].get("ended")
    if given is None:
        return None
    try:
        return Ended(float(given["at"]), str(given["lost"]), str(given["hint"]))
    except (KeyError, TypeError, ValueError) as error:
        raise BadInput(f"{path}, line 1: 'ended' does not say when and how.") from error


def _run(line: Line, name: str, options: Options, cancel: Cancel, *, asked: bool) -> str:
    """How it ends now. An option of the wrong kind is the file's fault, not the conversation's."""
    try:
        if asked:
            found = transfer.identify(line, cancel=cancel).sentence
            if name == "identify":
                return found
        return CONVERSATIONS[name](line, options, cancel)
    except (LibrarianError, Cancelled) as problem:
        return str(problem)
    except (TypeError, ValueError, AttributeError) as error:
        if not options:
            raise
        raise BadInput(f"The options of “{name}” in the file cannot be used: {error}.") from error


def _chart_in(path: Path, about: Options) -> Chart:
    text = about.get("chart")
    if not isinstance(text, str) or not text:
        raise BadInput(f"{path} does not hold the chart of its instrument.", "Say which: --chart FILE")
    return chart_text(text, f"the chart in {path}")


def _address(path: Path, about: Options, chart: Chart) -> Address:
    given = about.get("address")
    if given is None:
        return chart.default_address
    try:
        return Address(int(given["channel"]), int(given["device"]))
    except (KeyError, TypeError, ValueError) as error:
        raise BadInput(f"{path}, line 1: 'address' is no channel and device ID.") from error


def _twins(path: Path, about: Options) -> dict[int, str]:
    try:
        return {int(device): str(name) for device, name in about.get("twins", {}).items()}
    except (TypeError, ValueError, AttributeError) as error:
        raise BadInput(f"{path}, line 1: 'twins' is not what this program writes.") from error


class _Exhausted(threading.Event):
    """Stands for the person who says that it is enough: when the log has no more to tell."""

    def __init__(self, cable: ReplayedCable) -> None:
        super().__init__()
        self._cable = cable

    def is_set(self) -> bool:
        """True when nothing more will come."""
        return self._cable.exhausted
