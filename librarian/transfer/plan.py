"""What a recall will send: which way, which messages, which parameters, and what stays as it is and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from librarian.chart import DumpRefused, UnknownValues, Way
from librarian.chart.dump import MessageInfo
from librarian.errors import Refused
from librarian.messages import Values, Version
from librarian.transfer.grouping import grouped
from librarian.transfer.line import Line
from librarian.transfer.nearly import alike, set_nearly
from librarian.transfer.reading import Reading
from librarian.transfer.writing import written
from librarian.wire.cable import WIRE_BYTES_PER_SECOND


@dataclass(frozen=True, slots=True)
class Burst:
    """Messages that travel together, and the parameters that are in the instrument when they have arrived.

    `dump`: the way of which they are the dump, None for messages that set single parameters.
    """

    messages: tuple[bytes, ...]
    parameters: tuple[str, ...]
    dump: Way | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """`wanted`: what the instrument must hold afterwards. `left_out`: ids of the version that no way carries.

    `name`: the name that it must show afterwards, '' where none travels. `saved`: bytes that need not travel.
    `nearly`: ids that are set only near their value, because no exact way brings them.
    """

    way: Way
    wanted: Values
    bursts: tuple[Burst, ...]
    left_out: tuple[str, ...]
    name: str = ""
    saved: int = 0
    nearly: frozenset[str] = frozenset()

    @property
    def size(self) -> int:
        """Bytes that travel."""
        return sum(len(raw) for burst in self.bursts for raw in burst.messages)


def wanted_of(line: Line, version: Version, *, with_setup: bool) -> Values:
    """The values of a version that a recall brings: its sound, and its set-up only when asked for. Unknowns never."""
    chart = line.chart
    ids = [*chart.sound_ids, *(chart.setup_ids if with_setup else ())]
    return version.values.only(ids)


def nothing_known(line: Line) -> Refused:
    """A version of which no value is known can neither be sent nor compared."""
    return Refused(
        f"Nothing of this sound is known, so there is nothing to send to {line.name} or to compare with it.",
        "Choose another version of it, or capture it again.",
    )


def make_plan(
    line: Line, version: Version, wanted: Values, now: Reading | None, *, way: Way | str | None, whole: bool
) -> Plan:
    """Choose the first way that can bring all of `wanted`, or else most of it, without touching anything else.

    `now`: what the instrument holds, if it was read. A dump replaces everything at once, so what the version does
    not know and what is not to be changed must be filled in from there; without it a dump that would need it is not
    used. Unless `whole`, only what differs from `now` is sent, where that is shorter. Raises Refused where no way is
    left, naming why each one is not.
    """
    reasons: list[str] = []
    plan: Plan | None = None
    candidates = _ways(line, way)
    for candidate in candidates:
        try:
            found = _by_dump(line, candidate, version, wanted, now) if candidate.kind == "dump" else None
            found = _completed(line, found or _by_controllers(line, candidate, wanted), wanted)
            found = _with_other_dumps(line, found, candidates, version, wanted, now)
        except Refused as problem:
            reasons.append(str(problem))
            continue
        if plan is None or len(found.left_out) < len(plan.left_out):
            plan = found
        if not plan.left_out:
            break
    if plan is None and not reasons and _into_memory(line):
        raise Refused(
            f"{line.name} takes sounds only into its memory, where each replaces a program.",
            "Choose the program that it may replace, and restore it there.",
        )
    if plan is None:
        raise Refused(
            f"Nothing was sent to {line.name}: {' '.join(reasons) or 'its chart knows no way to recall a sound.'}",
            "Add a way of recall to the chart, or fill in what is unknown.",
        )
    plan = replace(plan, nearly=_sent_nearly(line, plan) | set_nearly(line, ways_into(line)))
    return plan if whole or now is None else _shortened(line, plan, now)


def _into_memory(line: Line) -> bool:
    """True when some way writes a dump, though none into the edit buffer."""
    return any(one.kind == "dump" for one in line.chart.ways_out)


def ways_into(line: Line) -> list[Way]:
    """The ways of the chart into the edit buffer, preferred first."""
    ways = [one for one in line.chart.ways_out if one.kind in {"dump", "controllers", "parameters"}]
    messages = line.chart.codec.messages
    ways = [one for one in ways if one.into != "memory"]
    # A program or a bank is a place in the memory, whatever the chart calls it: nothing is written there unasked.
    return [one for one in ways if one.kind != "dump" or messages[one.message].kind == "edit buffer"]


def _ways(line: Line, way: Way | str | None) -> list[Way]:
    ways = ways_into(line)
    if way is None:
        return ways
    kind = way if isinstance(way, str) else way.kind
    chosen = [one for one in ways if way in (one, one.kind)]
    if not chosen:
        raise Refused(
            f"The chart of {line.name} knows no way to recall a sound by “{kind}”.",
            "Leave the way out, and the chart's first one is taken.",
        )
    return chosen


def _by_dump(line: Line, way: Way, version: Version, wanted: Values, now: Reading | None) -> Plan:
    codec = line.chart.codec
    values = wanted.only(way.carries)
    if not values:
        raise Refused("The dump carries nothing of this sound.")
    missing = [name for name in way.carries if name not in values]
    if now is not None:
        values = values.with_values({name: now.values[name] for name in missing if name in now.values})
    name = version.name or (now.name if now is not None else "")
    try:
        messages = written(line, way.message, values, base=_base(line, way, version, now), name=name)
    except UnknownValues as problem:
        labels = ", ".join(line.chart.parameters[one].label for one in problem.parameters)
        raise Refused(f"A dump replaces everything, and these are not known: {labels}.") from problem
    # As the instrument will show it: cut to its length, in its own characters.
    shown = codec.decode_all(messages, line.address).name if version.name else ""
    return Plan(way, values.only(wanted), (Burst(messages, tuple(values), way),), (), shown)


def _base(line: Line, way: Way, version: Version, now: Reading | None) -> tuple[bytes, ...] | None:
    """Where the bytes come from that no field explains: they belong to the sound, so its own dump goes first."""
    own = dump_in(line, version, way.message)
    if own is not None:
        return own
    return tuple(now.raw[way.message]) if now is not None and way.message in now.raw else None


def dump_in(line: Line, version: Version, message: str) -> tuple[bytes, ...] | None:
    """All messages of the dump `message` that a version came from, None where it did not come from one."""
    codec = line.chart.codec
    gather = codec.gather(message, line.address)
    for raw in version.received:
        found = codec.recognise(raw, line.address) if raw[:1] == b"\xf0" else None
        if found is not None and found.message in _names(codec.messages[message]) and not gather.complete:
            try:
                gather.feed(raw)
            except DumpRefused:  # it was taken at another address, or by another revision: no base for this one
                return None
    return tuple(gather.raws) if gather.complete else None


def _names(info: MessageInfo) -> tuple[str, ...]:
    """The kinds of messages that a dump is made of."""
    return (info.name, info.each, *info.sequence)


def _by_controllers(line: Line, way: Way, wanted: Values) -> Plan:
    bursts = _single_parameters(line, wanted) if way.kind == "parameters" else _one_by_one(line, wanted, wanted)
    if not bursts:
        raise Refused("No message for a single parameter carries anything of this sound.")
    sent = [name for burst in bursts for name in burst.parameters]
    return Plan(way, wanted.only(sent), bursts, ())


def _single_parameters(line: Line, values: Values, only: Iterable[str] | None = None) -> tuple[Burst, ...]:
    wanted = frozenset(values if only is None else only)
    found = []
    for name in line.chart.order:
        known = name in values and name in wanted
        messages = line.chart.codec.set_one(name, values[name], line.address, values) if known else ()
        if messages:
            found.append(Burst(tuple(messages), (name,)))
    return tuple(found)


def _controllers(line: Line, values: Values, only: Iterable[str]) -> tuple[Burst, ...]:
    codec = line.chart.codec
    found = codec.controllers(values, line.address, only=tuple(only))
    groups = [tuple(one.messages) for one in found]
    if codec.null_rule != "after_each":
        groups = list(grouped(groups))
    return tuple(Burst(group, (one.parameter,)) for group, one in zip(groups, found, strict=True))


def _one_by_one(line: Line, values: Values, only: Iterable[str]) -> tuple[Burst, ...]:
    """These parameters without any dump: by controllers, and what none sets exactly by messages of their own."""
    wanted = frozenset(only)
    carried = line.chart.codec.carried()
    singly = _single_parameters(line, values, {one for one in wanted if one not in carried or not carried[one].exact})
    return _controllers(line, values, wanted - {name for burst in singly for name in burst.parameters}) + singly


def _sent_nearly(line: Line, plan: Plan) -> frozenset[str]:
    """Ids that travel by controllers which do not carry every value."""
    carried = line.chart.codec.carried()
    alone = [burst for burst in plan.bursts if burst.dump is None and burst.messages[0][0] != 0xF0]
    names = [name for burst in alone for name in burst.parameters]
    return frozenset(name for name in names if not carried[name].exact)


def _completed(line: Line, plan: Plan, wanted: Values) -> Plan:
    """What the way itself does not carry goes after it one by one; what nothing carries is left out."""
    rest = [name for name in wanted if name not in plan.wanted]
    extra = _one_by_one(line, wanted, rest) if rest else ()
    sent = [name for burst in extra for name in burst.parameters]
    return Plan(
        plan.way,
        plan.wanted.with_values(wanted.only(sent)),
        plan.bursts + extra,
        tuple(name for name in rest if name not in sent),
        plan.name,
    )


def _with_other_dumps(
    line: Line, plan: Plan, ways: list[Way], version: Version, wanted: Values, now: Reading | None
) -> Plan:
    """A sound may travel as several dumps: those that carry what the plan leaves out go after it, in their order."""
    for way in ways:
        rest = wanted.only(plan.left_out)
        if way.kind != "dump" or way == plan.way or not rest.only(way.carries):
            continue
        try:
            other = _by_dump(line, way, version, wanted, now)
        except Refused:  # what it carries stays left out, and is said
            continue
        plan = Plan(
            plan.way,
            plan.wanted.with_values(other.wanted),
            plan.bursts + other.bursts,
            tuple(name for name in plan.left_out if name not in other.wanted),
            plan.name or other.name,
        )
    return plan


def _shortened(line: Line, plan: Plan, now: Reading) -> Plan:
    """Only what differs, one by one, when that is shorter and leaves nothing else different."""
    changed = {name for name in plan.wanted if not _is_there(line, plan, now, name)}
    short = replace(plan, bursts=_one_by_one(line, plan.wanted, changed))
    reached = {name for burst in short.bursts for name in burst.parameters}
    shorter = short.size < plan.size and _seconds(line, short.bursts) <= _seconds(line, plan.bursts)
    exactly = _sent_nearly(line, short) <= plan.nearly
    if reached != changed or not exactly or not shorter or not _only_values_differ(line, plan, now):
        return plan
    return replace(short, saved=plan.size - short.size)


def _is_there(line: Line, plan: Plan, now: Reading, name: str) -> bool:
    """True when this parameter is as near to what is wanted as the plan would bring it."""
    if name not in now.values:
        return False
    held, value = now.values[name], plan.wanted[name]
    if name in plan.nearly:
        return held == value or alike(line, name, held, value, "computer")
    told = line.chart.codec.carried("instrument").get(name)
    by_dump = now.way.kind != "controllers" and name in now.way.carries
    # What controllers tell only nearly may be another value than the one that it looks like.
    return held == value and (by_dump or told is None or told.exact)


def _seconds(line: Line, bursts: Iterable[Burst]) -> float:
    """How long these take on the cable, at the instrument's pace."""
    pace = line.pace
    gaps = sum(pace.gap_after(burst.messages[-1]) * (len(burst.messages) if burst.dump else 1) for burst in bursts)
    return gaps + sum(len(raw) for burst in bursts for raw in burst.messages) / min(
        pace.bytes_per_second, WIRE_BYTES_PER_SECOND
    )


def _only_values_differ(line: Line, plan: Plan, now: Reading) -> bool:
    """True when name and unexplained bytes are what they should be already: controllers cannot bring those."""
    if plan.way.kind == "dump" and plan.name and plan.name != now.name:
        return False
    values = now.values.with_values(plan.wanted)
    for burst in plan.bursts:
        if burst.dump is None:
            continue
        held = now.raw.get(burst.dump.message)
        if held is None:
            return False
        if written(line, burst.dump.message, values, base=tuple(held), name=now.name) != burst.messages:
            return False
    return True
