"""Everything the dump tables of a chart say, laid out: layouts, then every form of every message, and all faults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from librarian.chart.dump.digits import NotReadable
from librarian.chart.dump.expand import expand
from librarian.chart.dump.frame_text import Halves, Named, read_frame
from librarian.chart.dump.model import Charset, Codes, DataPart, GroupPart, Layout, Message, VersionPart
from librarian.chart.dump.packing import PACKINGS
from librarian.chart.dump.places import Path, Places
from librarian.chart.dump.planner import Planner, Wanted, version_numbers
from librarian.chart.dump.problem import Problem
from librarian.chart.dump.results import Form
from librarian.chart.dump.segments import Frame
from librarian.chart.dump.specs import AddressRule, ParameterSpec


@dataclass(frozen=True, slots=True)
class Dumps:
    """The dump tables of a chart, as the models give them."""

    message: Mapping[str, Message] = field(default_factory=dict)
    layout: Mapping[str, Layout] = field(default_factory=dict)
    charset: Mapping[str, Charset] = field(default_factory=dict)
    codes: Mapping[str, Codes] = field(default_factory=dict)


@dataclass(slots=True)
class MessagePlan:
    """One message: its forms, each with one frame for every version. `open_forms`: spread over several messages."""

    name: str
    message: Message
    planner: Planner
    frames: dict[Form, tuple[Frame, ...]] = field(default_factory=dict)
    open_forms: dict[Form, str] = field(default_factory=dict)
    path: Path = ()

    @property
    def data_part(self) -> tuple[str, DataPart] | None:
        """The data part of a message that is spread over several."""
        return next(((name, part) for name, part in self.message.parts.items() if isinstance(part, DataPart)), None)


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


def named_in(text: str | None) -> list[str]:
    """The parts that a frame names, in order; nothing for a frame that cannot be read."""
    names: list[str] = []
    try:
        for token in read_frame(text) if text is not None else []:
            if isinstance(token, Named):
                names.append(token.name)
            elif isinstance(token, Halves):
                names += [half for half in (token.high, token.low) if isinstance(half, str)]
    except NotReadable:
        return []
    return names


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
        plan.messages[name] = _plan_message(name, message, plan, rule)
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


def _plan_message(name: str, message: Message, plan: Plan, rule: AddressRule) -> MessagePlan:
    planner = Planner(name, message, plan.places, rule, plan.fault)
    made = MessagePlan(name, message, planner, path=("message", name))
    texts: dict[Form, str | None] = {"request": message.request, "answer": message.answer, "write": message.write}
    for form, text in texts.items():
        if text is not None:
            _plan_form(made, form, text, plan)
    if message.write is None and message.answer is not None and message.writable and message.kind != "command":
        for table in (made.frames, made.open_forms):
            if "answer" in table:
                table["write"] = table["answer"]  # type: ignore[assignment]
    return made


def _plan_form(made: MessagePlan, form: Form, text: str, plan: Plan) -> None:
    path: Path = (*made.path, form)
    named = _all_named(text, made.message)
    datas = [part for name in named if isinstance(part := made.message.parts.get(name), DataPart)]
    spread = form != "request" and any(
        part.split is not None or getattr(made.message.parts.get(name), "is_", "") == "address" or name == "packet"
        for part in datas
        for name in named
    )
    if spread:
        made.open_forms[form] = text
        return
    versions = _versions(made, datas, named, path, plan)
    frames = [made.planner.frame(text, path, Wanted(version=version)) for version in versions]
    if all(frame is not None for frame in frames):
        made.frames[form] = tuple(frame for frame in frames if frame is not None)


def _all_named(text: str, message: Message) -> list[str]:
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
