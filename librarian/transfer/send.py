"""Putting a plan on the wire at the instrument's pace, and hearing what it says to that."""

from __future__ import annotations

from librarian.messages import Message, Values
from librarian.transfer.plan import Burst, Plan
from librarian.transfer.talk import BYTE_S, Talk, handshake


def send(talk: Talk, plan: Plan) -> str:
    """Send everything of a plan; returns '' or, in words, how the instrument refused it.

    `talk.state` says at every moment what the instrument holds, for a cancel or a lost cable.
    """
    line = talk.line
    total = max(1, len({name for burst in plan.bursts for name in burst.parameters if name in plan.wanted}))
    left = plan.size
    done: set[str] = set()
    refusal = ""
    refusals = talk.refusals
    commands(talk, plan.way.before)
    for burst in plan.bursts:
        talk.state = _state(talk, len(done), total, burst)
        refusal = _one(talk, plan, burst) or refusal
        done.update(name for name in burst.parameters if name in plan.wanted)
        left -= sum(len(raw) for raw in burst.messages)
        talk.tell(len(done), total, "parameters", left * BYTE_S)
        if refusal:
            break
    if not refusal:
        commands(talk, plan.way.after)
    talk.until_sent()
    if plan.way.settle_s > 0:
        talk.pause(plan.way.settle_s)
    if talk.refusals > refusals:
        refusal = f"{line.name} refused it"
    talk.state = f"Everything was sent to {line.name}, but nothing was read back."
    return refusal


def _one(talk: Talk, plan: Plan, burst: Burst) -> str:
    if not (burst.is_dump and plan.way.acknowledged):
        if burst.is_dump:
            for raw in burst.messages:
                talk.send(raw)
                talk.keep_ahead()
        else:
            talk.send_burst(burst.messages)
        talk.keep_ahead()
        return ""
    for raw in burst.messages:
        talk.send(raw, gap_s=0.0)
        talk.until_sent()
        refusal = acknowledgement(talk, plan.way.timeout_s)
        if refusal:
            return refusal
        talk.pause(talk.gap_after(raw))
    return ""


def acknowledgement(talk: Talk, timeout_s: float) -> str:
    """Wait for ACK (''), NAK or cancel (the words for it); WAIT prolongs. Silence is no refusal: reading back tells."""
    clock = talk.line.clock
    until = clock.now() + timeout_s
    while (arrival := talk.next(until)) is not None:
        if not isinstance(arrival, Message):
            continue
        said = handshake(arrival.raw)
        if said == "ack":
            return ""
        if said in {"nak", "cancel"}:
            return f"{talk.line.name} refused it"
        if said == "wait":
            until = clock.now() + timeout_s
        else:
            talk.hear(arrival)
    return ""


def commands(talk: Talk, names: tuple[str, ...]) -> None:
    """Send the commands of these names (protection off, store)."""
    for name in names:
        for raw in talk.line.chart.codec.encode(name, Values(), talk.line.address, form="write"):
            talk.send(raw)


def _state(talk: Talk, done: int, total: int, burst: Burst) -> str:
    name = talk.line.name
    if burst.is_dump:
        return f"A dump was under way to {name}; whether it took it is not known. Capture it to see."
    if done == 0:
        return f"Nothing was sent; {name} is as it was."
    return f"{done} of {total} parameters were sent to {name}; the others are as they were before."
