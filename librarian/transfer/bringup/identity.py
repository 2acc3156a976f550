"""Does it say who it is, to whom it should, and to nobody else?

Of an instrument that cannot be read back this is all that can be tried, so the realtime bytes that may stand inside any
SysEx message (MIDI 1.0 Detailed Specification, "System Real Time") are tried on this request as well.
"""

from __future__ import annotations

from collections.abc import Callable

from librarian.messages import ALL_CALL, Damaged
from librarian.transfer.bringup.bench import Bench
from librarian.transfer.bringup.dumps import with_realtime
from librarian.wire import universal

_WAIT_S = 1.0
_SILENCE_S = 0.3


def identity(bench: Bench) -> None:
    """All call, its own device ID, another one; the fields of the reply; its firmware."""
    rule = bench.chart.identity
    if rule.manufacturer is None:
        bench.not_tried("identity", "the chart says nothing about an identity reply")
        return
    bench.begin()
    replies, broken = _ask(bench, ALL_CALL, _WAIT_S)
    for why in broken:
        bench.failed("identity: form", "all call", "a reply of 15 bytes (17 with a long manufacturer ID)", why)
    if not replies:
        if not broken:
            bench.failed("identity: all call", "", "a reply", "nothing")
        return
    bench.passed("identity: all call")
    if not broken:
        bench.passed("identity: form")
    reply = replies[0]
    _fields(bench, reply)
    firmware = rule.firmware(reply.revision)
    fits = rule.fits(reply) != "other firmware"
    bench.noted(
        fits, "identity: firmware", "", f"a firmware that chart revision {bench.chart.revision} describes", firmware
    )
    if len(replies) > 1:
        bench.failed("identity: once", "", "one reply", f"{len(replies)} replies")
    bench.begin()
    own, _ = _ask(bench, reply.device, _WAIT_S)
    bench.noted(bool(own), "identity: own device ID", f"{reply.device}", "a reply", "nothing")
    other = (reply.device + 1) % ALL_CALL
    bench.begin()
    strangers, _ = _ask(bench, other, _SILENCE_S)
    answered = any(one.device == reply.device for one in strangers)
    bench.noted(not answered, "identity: another device ID", f"{other}", "silence", "it answers for another device")
    bench.begin()
    between, _ = _ask(bench, ALL_CALL, _WAIT_S, with_realtime)
    bench.noted(bool(between), "identity: realtime inside the request", "", "a reply", "nothing")


def _fields(bench: Bench, reply: universal.IdentityReply) -> None:
    rule = bench.chart.identity
    pairs = (
        ("manufacturer", rule.manufacturer, reply.manufacturer),
        ("family", rule.family, reply.family),
        ("member", rule.member, reply.member),
    )
    for name, wanted, got in pairs:
        if wanted is not None:
            bench.noted(wanted == got, "identity: fields", name, _word(wanted), _word(got))


def _word(value: bytes | int) -> str:
    return value.hex(" ").upper() if isinstance(value, bytes) else str(value)


def _ask(
    bench: Bench, device: int, wait_s: float, travels: Callable[[bytes], bytes] | None = None
) -> tuple[list[universal.IdentityReply], list[str]]:
    """Every reply, and why something that looks like one is none. `travels`: what becomes of the request's bytes."""
    talk = bench.talk
    request = universal.identity_request(device)
    talk.ask(request, travels=travels)
    replies: list[universal.IdentityReply] = []
    broken: list[str] = []
    until = talk.line.clock.now() + wait_s
    while (arrival := talk.next(until)) is not None:
        if isinstance(arrival, Damaged):
            if arrival.kind == "unterminated":
                broken.append(arrival.reason)
            continue
        raw = arrival.raw
        if talk.line.echo.is_request(raw, talk.line.clock.now()) or raw[:2] != b"\xf0\x7e" or raw[3:5] != b"\x06\x02":
            continue
        try:
            replies.append(universal.parse_identity(raw))
            until = min(until, talk.line.clock.now() + _SILENCE_S)
        except universal.Malformed as problem:
            broken.append(str(problem))
            until = min(until, talk.line.clock.now() + _SILENCE_S)
    talk.answered()
    return replies, broken
