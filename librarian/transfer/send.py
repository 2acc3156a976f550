"""Putting a plan on the wire at the instrument's pace, and hearing what it says to that."""

from __future__ import annotations

from librarian.chart import Way
from librarian.chart.dump import Handshake
from librarian.messages import Message, Values
from librarian.transfer.plan import Burst, Plan
from librarian.transfer.talk import BYTE_S, Talk, handshake

# After WAIT an instrument may be silent for as long as it likes; this long is believed.
_WAIT_S = 10.0


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
        if burst.is_dump:
            refusal = send_dump(talk, plan.way, burst.messages)
        else:
            talk.send_burst(burst.messages)
            talk.keep_ahead()
        if refusal:
            break
        done.update(name for name in burst.parameters if name in plan.wanted)
        left -= sum(len(raw) for raw in burst.messages)
        talk.tell(len(done), total, "parameters", left * BYTE_S)
    if not refusal:
        commands(talk, plan.way.after)
    talk.until_sent()
    if plan.way.settle_s > 0:
        talk.pause(plan.way.settle_s)
    if talk.refusals > refusals:
        refusal = f"{line.name} refused it"
    talk.state = f"Everything was sent to {line.name}, but nothing was read back."
    return refusal


def send_dump(talk: Talk, way: Way, messages: tuple[bytes, ...]) -> str:
    """Send the messages of one dump, in step with the instrument where the chart says that it answers."""
    step = talk.line.chart.codec.handshake(way.message) if way.message else None
    for raw in messages:
        if step is not None:
            refusal = _packet(talk, step, raw)
        elif way.acknowledged:
            talk.send(raw, gap_s=0.0)
            talk.until_sent()
            refusal = acknowledgement(talk, way.timeout_s)
            talk.pause(talk.gap_after(raw))
        else:
            talk.send(raw)
            talk.keep_ahead()
            refusal = ""
        if refusal:
            return refusal
    return ""


def _packet(talk: Talk, step: Handshake, raw: bytes) -> str:
    """One packet, again after each NAK; silence is an open loop, unless the chart wants every packet answered."""
    for _ in range(step.retries + 1):
        talk.send(raw, gap_s=0.0)
        talk.until_sent()
        said = _said(talk, step, step.answer_s)
        if said == "ack":
            return ""
        if said == "cancel":
            return f"{talk.line.name} cancelled the transfer"
        if said == "":
            return f"{talk.line.name} did not acknowledge it" if step.required else ""
        talk.pause(talk.gap_after(raw))
    return f"{talk.line.name} refused it {step.retries + 1} times"


def _said(talk: Talk, step: Handshake, timeout_s: float) -> str:
    clock = talk.line.clock
    until = clock.now() + timeout_s
    while (arrival := talk.next(until)) is not None:
        if not isinstance(arrival, Message):
            continue
        found = step.read(arrival.raw, talk.line.address)
        if found is None:
            talk.hear(arrival)
        elif found[0] == "wait":
            until = clock.now() + _WAIT_S
        else:
            return found[0]
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
            until = clock.now() + _WAIT_S
        else:
            talk.hear(arrival)
    return ""


def commands(talk: Talk, names: tuple[str, ...], **slots: int) -> None:
    """Send the commands of these names (protection off, store); `slots`: program, bank ... where they want one."""
    codec = talk.line.chart.codec
    for name in names:
        has = codec.messages[name].slots
        wanted = {word: number for word, number in slots.items() if word in has}
        for raw in codec.encode(name, Values(), talk.line.address, base=None, name=None, form="write", **wanted):
            talk.send(raw)


def _state(talk: Talk, done: int, total: int, burst: Burst) -> str:
    name = talk.line.name
    if burst.is_dump:
        return f"A dump was under way to {name}; whether it took it is not known. Capture it to see."
    if done == 0:
        return f"Nothing was sent; {name} is as it was."
    return f"{done} of {total} parameters were sent to {name}; the others are as they were before."
