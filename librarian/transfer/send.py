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
    account = _Account(talk, plan)
    request = line.chart.codec.controller_request(line.address)
    left = plan.size
    refusal = ""
    refusals = talk.refusals
    talk.state = account.sentence
    talk.wrote = True
    commands(talk, plan.way.before)
    for burst in plan.bursts:
        account.begin(burst)
        for name in burst.parameters:
            if name in plan.wanted:
                talk.moved.pop(name, None)  # a move that came before does not explain what is read back after it
        if burst.dump is not None:
            refusal = _dump_among(talk, plan, burst.dump, burst.messages)
        else:
            talk.asked_by_a_value |= _asks(burst.messages, request)
            account.queued_until(talk.send_burst(burst.messages))
            talk.keep_ahead()
        if refusal:
            break
        left -= sum(len(raw) for raw in burst.messages)
        talk.tell(account.queued, account.total, "parameters", left * BYTE_S)
    if not refusal:
        commands(talk, plan.way.after)
    talk.until_sent()
    if plan.way.settle_s > 0:
        talk.pause(plan.way.settle_s)
    if talk.refusals > refusals:
        refusal = refused_it(talk)
    talk.state = f"Everything was sent to {line.name}, but nothing was read back."
    return refusal


def _asks(messages: tuple[bytes, ...], request: tuple[bytes, ...]) -> bool:
    """True where the whole request is among them: some charts ask with what is a value's message too."""
    size = len(request)
    return bool(size) and any(messages[at : at + size] == request for at in range(len(messages) - size + 1))


def refused_it(talk: Talk) -> str:
    """The words for a write that was refused."""
    return f"{talk.line.name} refused it"


def _dump_among(talk: Talk, plan: Plan, way: Way, messages: tuple[bytes, ...]) -> str:
    """One dump of a plan; around one that is not the plan's own way go the commands of its own."""
    if way == plan.way:
        return send_dump(talk, way, messages)
    commands(talk, way.before)
    refusal = send_dump(talk, way, messages)
    if not refusal:
        commands(talk, way.after)
    talk.until_sent()
    if way.settle_s > 0:
        talk.pause(way.settle_s)
    return refusal


def send_dump(talk: Talk, way: Way, messages: tuple[bytes, ...]) -> str:
    """Send the messages of one dump, in step with the instrument where the chart says that it answers."""
    talk.wrote = True
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


def store_dump(talk: Talk, way: Way, messages: tuple[bytes, ...], **slots: int) -> str:
    """Send a dump into the memory with the commands around it, and leave time to store it. '' or how it was refused."""
    refusals = talk.refusals
    commands(talk, way.before, **slots)
    refusal = send_dump(talk, way, messages)
    commands(talk, way.after, **slots)
    talk.until_sent()
    talk.pause(max(way.settle_s, talk.line.pace.write_delay_s))
    if talk.refusals > refusals:
        refusal = refusal or refused_it(talk)
    return refusal


def _packet(talk: Talk, step: Handshake, raw: bytes) -> str:
    """One packet, again after each NAK; silence is an open loop, unless the chart wants every packet answered."""
    for _ in range(step.retries + 1):
        talk.send(raw, gap_s=0.0)
        talk.until_sent()
        answer = said(talk, step, step.answer_s)
        if answer == "ack":
            return ""
        if answer == "cancel":
            return f"{talk.line.name} cancelled the transfer"
        talk.packets_refused += answer == "nak"
        if answer == "":
            return f"{talk.line.name} did not acknowledge it" if step.required else ""
        talk.pause(talk.gap_after(raw))
    return f"{talk.line.name} refused it {step.retries + 1} times"


def said(talk: Talk, step: Handshake, timeout_s: float) -> str:
    """What the instrument answers to a packet: ack, nak or cancel; WAIT prolongs; '' for silence."""
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
            return refused_it(talk)
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


class _Account:
    """What of a plan is in the instrument, told by the tickets that were handed to the port."""

    def __init__(self, talk: Talk, plan: Plan) -> None:
        self._name = talk.line.name
        self._talk = talk
        self._wanted = plan.wanted
        self._begun: list[tuple[int, Burst]] = []
        self.total = max(1, len({name for burst in plan.bursts for name in burst.parameters if name in plan.wanted}))

    def begin(self, burst: Burst) -> None:
        """This burst is queued next."""
        self._begun.append((self._talk.last_ticket + len(burst.messages), burst))

    def queued_until(self, ticket: int) -> None:
        """It is queued, and this is its last ticket (a panic may have taken numbers between)."""
        self._begun[-1] = (ticket, self._begun[-1][1])

    @property
    def queued(self) -> int:
        """How many parameters are on their way or there."""
        return len({name for _, burst in self._begun for name in burst.parameters if name in self._wanted})

    def sentence(self, handed: int) -> str:
        """What is true when all tickets up to `handed` have left and no later one will."""
        left = [burst for last, burst in self._begun if last <= handed]
        started = [burst for last, burst in self._begun if last - len(burst.messages) < handed < last]
        if any(burst.dump for burst in [*left, *started]):
            return f"A dump was under way to {self._name}; whether it took it is not known. Capture it to see."
        done = len({name for burst in left for name in burst.parameters if name in self._wanted})
        if done == 0 and not started:
            return f"Nothing was sent; {self._name} is as it was."
        half = " One more was sent in part." if started else ""
        return f"{done} of {self.total} parameters were sent to {self._name}; the others are as they were before.{half}"
