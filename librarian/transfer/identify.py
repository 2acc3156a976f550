"""Who is there: the standard's identity request, and what each kind of silence or noise means."""

from __future__ import annotations

from typing import Never

from librarian.messages import ALL_CALL, Address, Damaged
from librarian.transfer import limits
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.line import Line
from librarian.transfer.read import read, showing
from librarian.transfer.reading import Mark, Unreadable, silence, wire_seconds
from librarian.transfer.results import Identified
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import EchoLoop, ForeignOnly, NoReply, NotUnderstood, WrongInstrument
from librarian.wire import universal


def identify(
    line: Line,
    *,
    device: int | None = None,
    timeout_s: float = 1.0,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> Identified:
    """Ask who is on the line: all devices, or only the one with ID `device` (0-126).

    An instrument that the chart gives no identity is known by answering a dump request instead. If the chart's own
    instrument answers, later or among others, it is the one reported; the line then speaks to the address of its
    reply. Raises NoReply, EchoLoop, ForeignOnly, CableLost, Busy; Cancelled leaves everything as it was.
    """
    with line.talk("asking who is there", cancel, progress) as talk:
        talk.limit_s = limits.identify_s(line, timeout_s)
        talk.state = "At most a question was sent; nothing has changed."
        talk.tell(0, 1, "answers", timeout_s)
        asked = ALL_CALL if device is None else device
        found = show_itself(talk, asked, timeout_s)
        line.identified = found
        if found.fits != "other instrument":
            line.readdress(found.address)
        talk.tell(1, 1, "answers", 0.0)
        return found


def show_itself(talk: Talk, device: int = ALL_CALL, timeout_s: float = 1.0) -> Identified:
    """Who answers the identity request, or else a request for a sound. Raises NoReply and the like."""
    return _who(talk, device, timeout_s) or _known_by_its_dump(talk) or _raise_silence(talk)


_INTRODUCTION_S = 1.0
_AGREE = {"fits": 2, "other firmware": 3, "other instrument": 3}
"""So many equal replies are believed where the first one is not: it has no checksum."""
_RANK: dict[str, int] = {"fits": 0, "other firmware": 1, "other instrument": 2}


def introduce(talk: Talk) -> None:
    """Once per line, before the first conversation about sounds: learn who is there, if nobody asked yet.

    An instrument that gives no answer to this may have no identity reply at all; what it does answer decides then.
    """
    line = talk.line
    if line.identified is not None or line.introduced or line.chart.identity.manufacturer is None:
        return
    line.introduced = True
    # A twin on these ports would not answer to the device ID of this one, and be taken for it all the same.
    line.identified = _who(talk, ALL_CALL if line.twins else line.address.device, _INTRODUCTION_S)
    if line.identified is not None and line.identified.fits == "fits" and line.address.device == ALL_CALL:
        line.readdress(line.identified.address)


def still_there(talk: Talk) -> None:
    """Before sending what cannot be read back: is the instrument that answered before still on the line?

    One that never answered the question is not asked again. Raises NoReply, EchoLoop, ForeignOnly, WrongInstrument.
    """
    line = talk.line
    if line.identified is None or line.identified.reply is None:
        return
    refuse_stranger(_who(talk, line.address.device, _INTRODUCTION_S) or _raise_silence(talk))


def refuse_whoever_else(talk: Talk) -> None:
    """Nothing came from this instrument: raise WrongInstrument where another one answers in its place."""
    if talk.line.chart.identity.manufacturer is not None:
        found = _who(talk, ALL_CALL, _INTRODUCTION_S)
        if found is not None and found.fits == "other instrument":
            refuse_stranger(found)


def refuse_stranger(found: Identified | None) -> None:
    """Raise WrongInstrument when what answered last is not what the chart describes."""
    if found is None or found.fits == "fits":
        return
    hint = "Choose other ports, or the instrument that answered."
    if found.fits == "other firmware":
        hint = f"Choose a chart for firmware {found.firmware}; until then nothing is sent."
    raise WrongInstrument(found.sentence, hint)


def _who(talk: Talk, device: int, timeout_s: float) -> Identified | None:
    """Who answers: the chart's own instrument if it is among them; None where nobody does.

    A reply has no checksum. One that fits is believed, with a new device ID when it came twice; one that does not fit
    when it came three times the same, for a damaged one looks like another instrument. Raises NotUnderstood where
    every reply is another one.
    """
    heard: list[Identified] = []
    for _ in range(limits.MOST_ASKED):
        before = len(talk.damaged)
        replies = ask(talk, device, timeout_s)
        found = min(replies, key=lambda one: _RANK[one.fits], default=None)
        if found is not None and found.fits == "fits" and found.address == talk.line.address:
            return found
        heard += replies
        agreed = [one for one in replies if sum(one.reply == other.reply for other in heard) >= _AGREE[one.fits]]
        if agreed:
            return min(agreed, key=lambda one: _RANK[one.fits])
        if not heard and len(talk.damaged) == before:
            return None
    if not heard:
        return None
    raise NotUnderstood(
        f"Who is on {talk.line.port} was asked {limits.MOST_ASKED} times, and the answers do not agree: they arrive "
        "damaged.",
        "Look at the cable and the interface, then ask again.",
        tuple(one.sentence for one in heard),
    )


def ask(talk: Talk, device: int, timeout_s: float) -> list[Identified]:
    """Every identity reply to one request within `timeout_s`; the first that fits ends it."""
    line = talk.line
    request = universal.identity_request(device)
    talk.ask(request)
    start = line.clock.now()
    # The request itself takes 1.92 ms of wire: not the instrument's time.
    until = start + wire_seconds(len(request)) + timeout_s
    replies: list[Identified] = []
    while (arrival := talk.next(until)) is not None:
        if isinstance(arrival, Damaged):
            continue
        if line.echo.is_request(arrival.raw, line.clock.now()):
            continue
        try:
            reply = universal.parse_identity(arrival.raw)
        except universal.Malformed:
            talk.hear(arrival)
            continue
        if device not in {ALL_CALL, reply.device}:
            talk.hear(arrival)
            continue
        replies.append(_judge(line, reply, line.clock.now() - start))
        if replies[-1].fits == "fits":
            break
        # Another one answered first; ours may be behind it on a merged cable.
    if replies:
        line.echo.answer_came()
    talk.answered()
    return replies


def _judge(line: Line, reply: universal.IdentityReply, waited: float) -> Identified:
    fit = line.chart.identity.fits(reply)
    firmware = line.chart.identity.firmware(reply.revision) if fit != "other instrument" else ""
    able = line.chart.codec.device_fits(reply.device)
    unknown = reply.device == ALL_CALL and not able
    address = line.address if unknown else Address(line.address.channel, reply.device)
    if fit != "other instrument" and not able and not unknown:
        fit = "other instrument"
        sentence = (
            f"{line.name} answered on {line.port} with device ID {reply.device}, which no message of its chart can "
            "carry; set another one at the instrument."
        )
    elif fit != "other instrument" and is_twin(line, reply.device):
        fit = "other instrument"
        sentence = (
            f"{line.twins[reply.device]} (device ID {reply.device}) answered on {line.port}, where {line.name} (device "
            f"ID {line.address.device}) was expected: the system has given their ports new numbers, or the cables were "
            "exchanged."
        )
    elif fit == "fits":
        said = f", firmware {firmware}" if firmware else ""
        sentence = f"{line.name} answered on {line.port}{said}. Ready to capture or recall."
    elif fit == "other firmware":
        sentence = (
            f"{line.name} answered on {line.port} with firmware {firmware}, which chart revision "
            f"{line.chart.revision} does not describe."
        )
    else:
        sentence = f"{_stranger(reply)} answered on {line.port}, where {line.name} was expected."
    return Identified(address, reply, firmware, fit, waited, line.echo.thru, sentence)


def is_twin(line: Line, device: int) -> bool:
    """True for the device ID of an equal unit that may have got the ports of this one."""
    return device in line.twins and device != line.address.device


def _stranger(reply: universal.IdentityReply) -> str:
    return (
        f"Another instrument (manufacturer ID {reply.manufacturer.hex(' ').upper()}, family {reply.family}, "
        f"member {reply.member})"
    )


def _known_by_its_dump(talk: Talk) -> Identified | None:
    """An instrument without an identity reply shows that it is there by answering a request for its sound."""
    line = talk.line
    for way in showing(line):
        start = line.clock.now()
        try:
            read(talk, way)
        except (Unreadable, NoReply, ForeignOnly, EchoLoop):
            continue
        said = f"{line.name} answered on {line.port} with its sound; it does not say which firmware it has."
        return Identified(line.address, None, "", "fits", line.clock.now() - start, line.echo.thru, said)
    return None


def _raise_silence(talk: Talk) -> Never:
    trouble = silence(talk, Mark(), "who it is")
    if isinstance(trouble, NoReply) and not showing(talk.line):
        raise NoReply(
            f"{talk.line.name} does not answer on {talk.line.port}: asked for who it is, nothing came, and its chart "
            "knows nothing else to ask for.",
            "It may be there all the same: move one of its controls, and look at its power and its cables.",
        )
    if isinstance(trouble, Unreadable):
        raise NotUnderstood(trouble.reason, "Look at the cable and the interface, then ask again.", (trouble.reason,))
    raise trouble
