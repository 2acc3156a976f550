"""Everything the dump tables of a chart say, laid out: layouts, then every form of every message, and all faults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from librarian.chart.dump.model import AddressPart, Charset, Codes, DataPart, GroupPart, Layout, Message, VersionPart
from librarian.chart.dump.planning.cutting import Addresses
from librarian.chart.dump.planning.expand import expand
from librarian.chart.dump.planning.frame_text import named_in
from librarian.chart.dump.planning.places import Path, Places
from librarian.chart.dump.planning.plan_single import SinglePlan, plan_single
from librarian.chart.dump.planning.plan_spread import SpreadPlan, is_spread, plan_spread
from librarian.chart.dump.planning.planner import Planner, Wanted, version_numbers
from librarian.chart.dump.planning.problem import Problem
from librarian.chart.dump.planning.segments import Frame
from librarian.chart.dump.planning.varying import VaryingFrame, nothing_else_varies, plan_varying
from librarian.chart.dump.results import Form
from librarian.chart.dump.specs import AddressRule, ParameterSpec
from librarian.chart.dump.steps.packing import PACKINGS
from librarian.chart.nearest import nearest


@dataclass(frozen=True, slots=True)
class Dumps:
    """The dump tables of a chart, as the models give them."""

    message: Mapping[str, Message] = field(default_factory=dict)
    layout: Mapping[str, Layout] = field(default_factory=dict)
    charset: Mapping[str, Charset] = field(default_factory=dict)
    codes: Mapping[str, Codes] = field(default_factory=dict)


@dataclass(slots=True)
class MessagePlan:
    """One message: its forms, each as one message (a frame for every version), as several, or for one parameter."""

    name: str
    message: Message
    frames: dict[Form, tuple[Frame, ...]] = field(default_factory=dict)
    spreads: dict[Form, tuple[SpreadPlan, ...]] = field(default_factory=dict)
    singles: dict[Form, SinglePlan] = field(default_factory=dict)
    handshake: dict[str, Frame] = field(default_factory=dict)
    varying: dict[Form, tuple[VaryingFrame, ...]] = field(default_factory=dict)

    @property
    def path(self) -> Path:
        """Where it stands in the chart."""
        return ("message", self.name)


@dataclass(slots=True)
class Plan:
    """The whole. Use it only when `problems` is empty."""

    places: dict[str, Places] = field(default_factory=dict)
    messages: dict[str, MessagePlan] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def fault(self, path: Path, sentence: str, remedy: str = "") -> None:
        """Notes a problem once."""
        problem = Problem(path, sentence, remedy)
        if problem not in self.problems:
            self.problems.append(problem)


def make_plan(dumps: Dumps, parameters: Mapping[str, ParameterSpec], rule: AddressRule) -> Plan:
    """Lays out everything and notes every fault. Never raises for a bad chart."""
    plan = Plan()
    eight = _eight_bit_layouts(dumps)
    for name, layout in dumps.layout.items():
        places = expand(
            name, layout, parameters, digit=8 if name in eight else 7, charsets=dumps.charset, codes=dumps.codes
        )
        plan.places[name] = places
        for problem in places.problems:
            plan.fault(problem.path, problem.sentence, problem.remedy)
    for name, message in dumps.message.items():
        plan.messages[name] = MessagePlan(name, message)
    maker = _Maker(plan, parameters, rule)
    # messages that give addresses come before those that use them
    for name, message in sorted(dumps.message.items(), key=lambda each: each[1].kind == "parameter"):
        maker.plan(plan.messages[name], message)
    return plan


def _eight_bit_layouts(dumps: Dumps) -> set[str]:
    """Layouts that only stand in packed data: there a byte has 8 bits unless the layout says otherwise."""
    packed: set[str] = set()
    plain: set[str] = set()
    for message in dumps.message.values():
        inside: set[str] = set()
        groups = {name: part for name, part in message.parts.items() if isinstance(part, GroupPart)}
        for _ in range(2):  # a plain group inside a packed one carries on
            for name, part in groups.items():
                if PACKINGS[part.packing].eight or name in inside:
                    inside.update(named_in(part.holds))
        for name, each in message.parts.items():
            if isinstance(each, DataPart):
                layouts = [each.layout] if each.layout is not None else list((each.layouts or {}).values())
                (packed if PACKINGS[each.packing].eight or name in inside else plain).update(layouts)
        if message.layout is not None and message.kind != "parameter":
            plain.add(message.layout)
    return packed - plain


class _Maker:
    """Plans message after message."""

    def __init__(self, plan: Plan, parameters: Mapping[str, ParameterSpec], rule: AddressRule) -> None:
        self._plan = plan
        self._parameters = parameters
        self._rule = rule

    def plan(self, made: MessagePlan, message: Message) -> None:
        """All forms of one message."""
        planner = Planner(made.name, message, self._plan.places, self._rule, self._plan.fault)
        texts: dict[Form, str | None] = {"request": message.request, "answer": message.answer, "write": message.write}
        for form, text in texts.items():
            if text is not None:
                self._form(made, form, text, planner)
        if message.write is None and message.writable:
            for table in (made.frames, made.spreads, made.varying):
                if "answer" in table:
                    table["write"] = table["answer"]  # type: ignore[assignment]
            if "answer" in made.singles:
                made.singles["write"] = replace(made.singles["answer"], form="write")
        self._handshake(made, planner)
        self._unused_parts(made, message)

    def _unused_parts(self, made: MessagePlan, message: Message) -> None:
        own = message.handshake
        texts = [message.request, message.answer, message.write, message.begin, message.end]
        texts += [own.ack, own.nak, own.wait, own.cancel] if own is not None else []
        named = {name for text in texts if text is not None for name in all_named(text, message)}
        for name in message.parts:
            if name not in named:
                self._plan.fault(
                    (*made.path, "parts", name),
                    f"The part {name} stands in no frame.",
                    f"Name it as {{{name}}} in a frame, or remove it.",
                )

    def _handshake(self, made: MessagePlan, planner: Planner) -> None:
        own = made.message.handshake
        if own is None:
            return
        for key, text in (("ack", own.ack), ("nak", own.nak), ("wait", own.wait), ("cancel", own.cancel)):
            if text is not None:
                frame = planner.frame(text, (*made.path, "handshake", key), Wanted())
                if frame is not None:
                    made.handshake[key] = frame

    def _form(self, made: MessagePlan, form: Form, text: str, planner: Planner) -> None:
        message, fault = made.message, self._plan.fault
        path: Path = (*made.path, form)
        named = all_named(text, message)
        if message.kind == "parameter":
            found = self._addresses(made)
            if message.of is not None and found is None:
                return  # said already
            if found is not None and message.layout is None:
                message = message.model_copy(update={"layout": found[1]})
            single = plan_single(
                made.name, message, form, text, named, planner, self._plan.places, self._parameters,
                None if found is None else found[0], fault,
            )  # fmt: skip
            if single is not None:
                made.singles[form] = single
            return
        spread = form != "request" and is_spread(named, message)
        if not nothing_else_varies(made.path, message, named, named_in(text), spread=spread, fault=fault):
            return
        datas = [part for name in named if isinstance(part := message.parts.get(name), DataPart)]
        if spread:
            around = [name for each in (message.begin, message.end) if each for name in all_named(each, message)]
            spreads = [
                plan_spread(made.name, message, text, path, named, planner, self._rule, version, fault)
                for version in _versions(made, datas, [*named, *around], path, self._plan)
            ]
            if spreads and None not in spreads:
                made.spreads[form] = tuple(each for each in spreads if each is not None)
            return
        versions = _versions(made, datas, named, path, self._plan)
        frames = [planner.frame(text, path, Wanted(version=version)) for version in versions]
        if frames and all(frame is not None for frame in frames):
            made.frames[form] = tuple(frame for frame in frames if frame is not None)
            sizes = {name: places.size for name, places in self._plan.places.items()}
            varying = [
                plan_varying(made.name, message, text, path, planner, frame, sizes, fault)
                for frame in made.frames[form]
            ]
            made.varying[form] = tuple(each for each in varying if each is not None)

    def _addresses(self, made: MessagePlan) -> tuple[Addresses, str] | None:
        """Where the message that `of` names has its parameters: addresses and layout."""
        of = made.message.of
        if of is None:
            return None
        other = self._plan.messages.get(of)
        if other is None:
            near = nearest(of, self._plan.messages)
            self._plan.fault(
                (*made.path, "of"),
                f"There is no message named {of}.",
                f"Did you mean {near}?" if near else "Write the name of a message with blocks of addresses.",
            )
            return None
        for spread in (each for several in other.spreads.values() for each in several):
            if isinstance(spread.cutting, Addresses):
                layouts = [layout for layout, _times in spread.payload.layouts().values()]
                if spread.payload.areas[0].layout == "":
                    sentence = f"The data of {of} is a group, so that no parameter has an address of its own."
                    self._plan.fault((*made.path, "of"), sentence, "Give the parameters numbers.")
                    return None
                if made.message.layout not in (None, *layouts):
                    self._plan.fault(
                        (*made.path, "layout"),
                        f"The message {of} has the layout {layouts[0]}.",
                        f'Write layout = "{layouts[0]}".',
                    )
                    return None
                if spread.payload.areas[0].packing.eight:
                    self._plan.fault(
                        (*made.path, "of"),
                        f"The data of {of} is packed, so that no parameter has an address of its own.",
                        "Give the parameters numbers, or describe the data unpacked.",
                    )
                    return None
                return spread.cutting, layouts[0]
        if not any(isinstance(part, AddressPart) for part in other.message.parts.values()):
            self._plan.fault(
                (*made.path, "of"), f"The message {of} has no addresses.", "Name a message with blocks of addresses."
            )
        return None


def all_named(text: str, message: Message) -> list[str]:
    """The parts that a frame names, those inside groups included."""
    names = named_in(text)
    for name in list(names):
        part = message.parts.get(name)
        if isinstance(part, GroupPart):
            names += [inner for inner in _all_named_once(part, message) if inner not in names]
    return names


def _all_named_once(group: GroupPart, message: Message) -> list[str]:
    names = named_in(group.holds)
    for name in list(names):
        inner = message.parts.get(name)
        if isinstance(inner, GroupPart):
            names += named_in(inner.holds)
    return names


def _versions(made: MessagePlan, datas: list[DataPart], named: list[str], path: Path, plan: Plan) -> list[int | None]:
    chosen = [part for part in datas if part.layouts is not None]
    if not chosen:
        return [None]
    numbers: list[int] = []
    for part in chosen:
        where = (
            *made.path,
            "parts",
            next(name for name, each in made.message.parts.items() if each is part),
            "layouts",
        )
        for number, _layout in version_numbers(part):
            if number is None or number < 0:
                plan.fault(where, "A version of the layout is no number.", 'Write numbers as keys, e.g. "1" or "0x12".')
                return []
            if number not in numbers:
                numbers.append(number)
    if not any(isinstance(made.message.parts.get(name), VersionPart) for name in named):
        plan.fault(
            path,
            "The layout depends on a version, but the frame has no version part.",
            'Add one, e.g. parts.version = { is = "version" }, and name it in the frame.',
        )
        return []
    return list(numbers)
