"""Judges the dump tables of a chart: every fault, with its place and what to write instead."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart.dump.model import (
    AddressPart,
    DataPart,
    GroupPart,
    Message,
    PacketPart,
    ParameterPart,
    SizePart,
    SlotPart,
    ValuePart,
)
from librarian.chart.dump.planning.ambiguity import tell_apart
from librarian.chart.dump.planning.cutting import Addresses
from librarian.chart.dump.planning.plan import Dumps, MessagePlan, Plan, all_named, make_plan
from librarian.chart.dump.planning.problem import Problem
from librarian.chart.dump.planning.segments import Frame
from librarian.chart.dump.specs import AddressRule, ParameterSpec
from librarian.chart.nearest import nearest

_TAKEN_WORDS = frozenset(
    {"message", "values", "address", "base", "base_program", "name", "form", "version", "device", "channel", "programs"}
)


def check(dumps: Dumps, parameters: Mapping[str, ParameterSpec], address: AddressRule) -> list[Problem]:
    """All problems; none means that `compile` will do."""
    plan = make_plan(dumps, parameters, address)
    for made in plan.messages.values():
        _words(made, plan)
        _keys(made, plan)
        _kind(made, plan)
        _each(made, dumps.message, plan, address)
        _sequence(made, dumps.message, plan)
        for form, frames in made.frames.items():
            for frame in frames:
                _programs(made, form, frame, plan)
                _parameters_once(made, form, frame, plan)
    tell_apart(plan)
    return plan.problems


def _words(made: MessagePlan, plan: Plan) -> None:
    """Words of numbers become names that programs use."""
    for name, part in made.message.parts.items():
        word = part.of if isinstance(part, SlotPart) else None
        if word is not None and (word in _TAKEN_WORDS or not word.isidentifier()):
            plan.fault(
                (*made.path, "parts", name, "of"),
                f"“{word}” cannot be the word for a number.",
                "Write program, bank, part, or a word of your own from letters, digits and _.",
            )


def _keys(made: MessagePlan, plan: Plan) -> None:
    """Keys that say something only together with others."""
    message = made.message
    single = message.kind == "parameter"
    named = {
        name
        for text in (message.request, message.answer, message.write)
        if text is not None
        for name in all_named(text, message)
    }
    addressed = any(isinstance(message.parts.get(name), AddressPart) for name in named)
    split = any(isinstance(part, DataPart | GroupPart) and part.split is not None for part in message.parts.values())
    numbered = any(isinstance(message.parts.get(name), PacketPart) for name in named)
    numbered = numbered or ("packet" in named and "packet" not in message.parts)
    rules = (
        (
            "layout",
            message.layout is not None and not single,
            'belongs to kind = "parameter"',
            "Name the layout at the data part.",
        ),
        (
            "of",
            message.of is not None and not (single and addressed),
            "belongs to a single parameter with an address",
            "Take it away.",
        ),
        ("numbers", bool(message.numbers) and not single, 'belongs to kind = "parameter"', "Take it away."),
        (
            "blocks",
            message.blocks is not None and not addressed,
            "belongs to a message with an address part",
            "Add the part.",
        ),
        (
            "chunk",
            message.chunk is not None and not addressed,
            "belongs to a message with an address part",
            "Take it away.",
        ),
        ("steps", bool(message.steps) and not addressed, "belongs to a message with an address part", "Take it away."),
        (
            "begin",
            message.begin is not None and not split and not addressed,
            "belongs to data in several messages",
            "Write split at the data part.",
        ),
        (
            "end",
            message.end is not None and not split and not addressed,
            "belongs to data in several messages",
            "Write split at the data part.",
        ),
        (
            "each",
            message.each is not None and message.kind != "bank",
            'belongs to kind = "bank"',
            'Write kind = "bank".',
        ),
        (
            "times",
            message.times is not None and message.each is None,
            "belongs to a bank with `each`",
            "Write times at the data part.",
        ),
        (
            "write",
            message.write is not None and not message.writable,
            "contradicts writable = false",
            "Take one of the two away.",
        ),
    )
    for key, wrong, sentence, remedy in rules:
        if wrong:
            plan.fault((*made.path, key), f"`{key}` {sentence}.", remedy)
    if numbered and not split:
        plan.fault(
            made.path,
            "The packets are numbered, but the data is not split.",
            "Write split = 128 (bytes in each packet) at the data part.",
        )
    asked = all_named(message.request, message) if message.request is not None else []
    by_address = addressed and any(isinstance(message.parts.get(name), AddressPart) for name in asked)
    if by_address and (message.begin or message.end) and len(message.blocks or ()) > 1:
        plan.fault(
            (*made.path, "request"),
            "A dump with a frame before or after it is asked for as a whole, but the request names an address.",
            "Write the request without the address part, with its bytes as constants.",
        )
    _numbers_in_place(made, plan, named)
    _handshake(made, plan)


def _numbers_in_place(made: MessagePlan, plan: Plan, named: set[str]) -> None:
    """Numbers that only some kinds of messages can give."""
    addressed = any(isinstance(each.cutting, Addresses) for several in made.spreads.values() for each in several)
    single = made.message.kind == "parameter"
    for name in sorted(named):
        part = made.message.parts.get(name)
        path = (*made.path, "parts", name)
        if isinstance(part, AddressPart | SizePart) and not addressed and not single:
            plan.fault(
                path,
                f"{name} is {'an address' if part.is_ == 'address' else 'a size'}, but no data of the message has one.",
                "Name an address in answer or write too, and add blocks.",
            )
        if isinstance(part, ParameterPart | ValuePart) and not single:
            plan.fault(path, f"{name} belongs to a single parameter.", 'Write kind = "parameter", or take it away.')


def _handshake(made: MessagePlan, plan: Plan) -> None:
    own = made.message.handshake
    if own is None:
        return
    frames = {"ack": own.ack, "nak": own.nak, "wait": own.wait, "cancel": own.cancel}
    given = [key for key, text in frames.items() if text is not None]
    if own.style == "universal" and given:
        plan.fault(
            (*made.path, "handshake", given[0]),
            "The universal handshake has frames of its own.",
            'Write style = "own".',
        )
    if own.style == "own" and own.ack is None:
        plan.fault((*made.path, "handshake", "ack"), "The frame that acknowledges a packet is missing.", "Write ack.")


def _kind(made: MessagePlan, plan: Plan) -> None:
    """What a message of its kind needs, and what it cannot have."""
    message = made.message
    texts = {"request": message.request, "answer": message.answer, "write": message.write}
    if not any(texts.values()) and message.sequence is None:
        plan.fault(made.path, f"The message {made.name} has no frame.", "Write request, answer or write.")
        return
    holding = {form: _has_data(text, message) for form, text in texts.items() if text is not None}
    if holding.get("request"):
        plan.fault((*made.path, "request"), "A request carries no data.", "Name the data in answer or write.")
    if message.kind == "command":
        if message.write is None:
            plan.fault(made.path, "A command has no frame that is written.", 'Write write = "F0 ... F7".')
        if message.answer is not None or any(holding.values()):
            plan.fault(made.path, "A command carries no data and has no answer.", "Choose another kind.")
        return
    if message.kind == "parameter" or message.each is not None or message.sequence is not None:
        return
    if message.answer is None and message.write is None:
        plan.fault(made.path, f"What {made.name} looks like is not said.", "Write answer, or write, or both.")
    for form in ("answer", "write"):
        if form in holding and not holding[form]:
            plan.fault(
                (*made.path, form),
                "The frame has no data part.",
                'Add parts.data = { is = "data", layout = "NAME" } and name it as {data}.',
            )


def _has_data(text: str, message: Message) -> bool:
    return any(isinstance(message.parts.get(name), DataPart) for name in all_named(text, message))


def _programs(made: MessagePlan, form: str, frame: Frame, plan: Plan) -> None:
    """How many programs there are has to agree with the kind, and everywhere in the message."""
    times = sorted({times for _layout, times in frame.layouts().values()})
    several = [each for each in times if each > 1]
    if len(several) > 1:
        plan.fault(
            (*made.path, form),
            f"One part of the message holds {several[0]} programs, another {several[1]}.",
            "A bank has the same number everywhere.",
        )
    if several and made.message.kind != "bank":
        plan.fault(
            (*made.path, "kind"), f"The message holds {several[0]} programs, so it is a bank.", 'Write kind = "bank".'
        )
    if made.message.kind == "bank" and form != "request" and times and not several:
        plan.fault(
            (*made.path, "kind"),
            "A bank holds several programs, but nothing here is repeated.",
            'Write times at the data part or group, or each = "MESSAGE".',
        )


def _parameters_once(made: MessagePlan, form: str, frame: Frame, plan: Plan) -> None:
    seen: dict[str, str] = {}
    named = ""
    for part, (layout, _times) in frame.layouts().items():
        places = plan.places[layout]
        for identity in places.ids:
            if identity in seen:
                plan.fault(
                    (*made.path, form),
                    f"{identity} stands in two parts of the message, {seen[identity]} and {part}.",
                    "Let one layout carry it, and leave it unexplained in the other.",
                )
                return
            seen[identity] = part
        if places.name is not None:
            if named:
                plan.fault(
                    (*made.path, form), f"The name stands in two parts, {named} and {part}.", "Let one carry it."
                )
            named = part


def _each(made: MessagePlan, messages: Mapping[str, Message], plan: Plan, rule: AddressRule) -> None:
    each = made.message.each
    if each is None:
        return
    path = (*made.path, "each")
    if each not in messages or each == made.name:
        near = nearest(each, [name for name in messages if name != made.name])
        plan.fault(
            path,
            f"There is no other message named {each}.",
            f"Did you mean {near}?" if near else "Write the name of the message that comes for every program.",
        )
        return
    other = plan.messages[each]
    if messages[each].each is not None or messages[each].kind in ("parameter", "command") or other.spreads:
        plan.fault(path, f"{each} is no single message with one program.", "Name a message that is.")
    if made.message.answer is not None or made.message.write is not None:
        plan.fault(path, "`each` stands instead of answer and write.", "Take the others away.")
    if made.message.times is None and not rule.programs:
        plan.fault(path, "How many programs the bank has is not said.", "Write times, or programs in [memory].")


def _sequence(made: MessagePlan, messages: Mapping[str, Message], plan: Plan) -> None:
    """The messages of a sequence exist, are single dumps, and share nothing."""
    message = made.message
    if message.sequence is None:
        return
    if message.kind not in ("edit buffer", "program", "setup"):
        plan.fault((*made.path, "kind"), f"A sequence cannot be a {message.kind}.", 'Write kind = "edit buffer".')
    if message.answer is not None or message.write is not None or message.each is not None:
        plan.fault(
            (*made.path, "sequence"), "`sequence` stands instead of answer, write and each.", "Take the others away."
        )
    owners: dict[str, str] = {}
    seen: set[str] = set()
    for index, name in enumerate(message.sequence):
        path = (*made.path, "sequence", index)
        other = messages.get(name)
        if other is None or name == made.name or name in seen:
            near = nearest(name, [each for each in messages if each not in (made.name, *message.sequence)])
            sentence = f"{name} stands twice." if name in seen else f"There is no other message named {name}."
            plan.fault(path, sentence, f"Did you mean {near}?" if near else "Write the names of its messages.")
            continue
        seen.add(name)
        if other.kind in ("parameter", "command", "bank") or other.sequence is not None:
            plan.fault(path, f"{name} is no single dump of one sound.", "Name messages that are.")
            continue
        if message.request is None and other.request is None:
            plan.fault(path, f"Nothing asks for {name}.", "Give it a request, or write one for the whole sequence.")
        for identity in sorted(_carried(plan.messages[name], plan)):
            before = owners.setdefault(identity, name)
            if before != name:
                plan.fault(
                    path,
                    f"{identity} stands in two messages of the sequence, {before} and {name}.",
                    "Let one carry it, and leave it unexplained in the other.",
                )


def _carried(made: MessagePlan, plan: Plan) -> set[str]:
    """The parameters in the dumps of a message."""
    frames = [frame for several in made.frames.values() for frame in several]
    frames += [each.payload for several in made.spreads.values() for each in several]
    layouts = {layout for frame in frames for layout, _times in frame.layouts().values()}
    return {identity for layout in layouts for identity in plan.places[layout].ids}
