"""Reading back: what is in the instrument against what should be, value by value, name included."""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import dataclass, replace

from librarian.chart import Way
from librarian.messages import Values, Version
from librarian.sounds.compare import compare
from librarian.transfer import limits
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.identify import introduce, refuse_stranger
from librarian.transfer.line import Knowledge, Line
from librarian.transfer.nearly import alike, set_nearly
from librarian.transfer.plan import nothing_known, wanted_of, ways_into
from librarian.transfer.read import MOST_TOGETHER, askable, keeps_changing, read, read_surely, still
from librarian.transfer.reading import Reading, Unreadable
from librarian.transfer.results import Proof, Verified, proof_sentence
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import EchoLoop, ForeignOnly, NoReply


def verify(
    line: Line,
    version: Version,
    *,
    with_setup: bool = False,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> Verified:
    """Compare what the instrument holds now with a version; writes nothing.

    An instrument that cannot be asked ends in the state 'sent' and the words "cannot be verified". Raises what
    `capture` raises.
    """
    with line.talk("verify", cancel, progress) as talk:
        talk.limit_s = limits.capture_s(line)
        talk.state = "Nothing was written."
        introduce(talk)
        refuse_stranger(line.identified)
        wanted = wanted_of(line, version, with_setup=with_setup)
        if not wanted:
            raise nothing_known(line)
        ways = roads(talk, wanted)
        if not ways:
            sentence = f"{line.name} cannot be asked for its sound, so it cannot be verified"
            return Verified("sent", len(wanted), 0, None, None, talk.bytes_out, talk.bytes_in, talk.seconds, sentence)
        nearly = set_nearly(line, ways_into(line))
        proof = prove(talk, ways, wanted, with_setup=with_setup, twice=True, nearly=nearly)
        state, sentence = proof_sentence(line.chart, proof, with_setup=with_setup, sent=False)
        return Verified(
            state, len(wanted), len(proof.equal), proof, proof.comparison,
            talk.bytes_out, talk.bytes_in, talk.seconds, sentence,
        )  # fmt: skip


def roads(talk: Talk, wanted: Values) -> list[Way]:
    """The ways to read `wanted` back, the one that carries most of it first (then as the chart prefers)."""
    ways = [way for way in askable(talk.line) if set(wanted) & set(way.carries)]
    return sorted(ways, key=lambda way: -len(set(wanted) & set(way.carries)))


def prove(
    talk: Talk,
    ways: list[Way],
    wanted: Values,
    name: str = "",
    *,
    others: Values | None = None,
    with_setup: bool = False,
    twice: bool = False,
    nearly: frozenset[str] = frozenset(),
) -> Proof:
    """Read back until equality is shown, or the difference is certain. `others`: what must not have changed.

    `nearly`: what is set only near its value, so that a value which looks the same to its controllers has arrived.

    After it was sent, an answer that is equal to what was wanted proves it: damage does not make a wrong sound look
    like that very one. One that differs may itself be damaged, so it is believed only when a second one says the same.
    `twice`: nothing was sent, so that a short sound may be a switch away from the wanted one, and bytes that changed
    places on the cable can make it look equal: every answer needs a second one.
    """
    all_of_it = Values(others or {}).with_values(wanted)
    found = _together(talk, ways, set(wanted), _Wanted(talk.line, all_of_it, nearly, name), twice=twice)
    reading, readable = found.reading, found.readable
    shown = _as_told(talk.line, wanted, reading.values, found.told)
    near = tuple(key for key in wanted if key in nearly and _near(talk.line, key, wanted[key], shown))
    equal = tuple(key for key, value in wanted.items() if shown.get(key) == value or key in near)
    rest = [key for key in wanted if key not in equal]
    moved = tuple(key for key in rest if key in talk.moved and shown.get(key) == talk.moved[key].value)
    unread = tuple(key for key in rest if key not in readable)
    silent = tuple(key for key in rest if key in readable and key not in reading.values)
    strange = [key for key, value in (others or {}).items() if key not in wanted and shown.get(key, value) != value]
    carries_name = any(way.kind == "dump" and talk.line.chart.codec.messages[way.message].has_name for way in ways[:1])
    return Proof(
        wanted=wanted,
        read=reading.values,
        equal=equal,
        differs=tuple(key for key in rest if key not in moved and key not in unread and key not in silent),
        moved=moved,
        disturbed=tuple(key for key in strange if key not in talk.moved),
        unread=unread,
        name=reading.name if name and carries_name and reading.name != name else "",
        comparison=compare(talk.line.chart, wanted, shown, with_setup=with_setup),
        raw=reading.raw,
        silent=silent,
        near=near,
    )


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What should be read back: `values`, of which those in `nearly` only look like it to controllers, and the name."""

    line: Line
    values: Values
    nearly: frozenset[str]
    name: str = ""

    def only(self, ids: Iterable[str], name: str = "") -> _Wanted:
        return replace(self, values=self.values.only(ids), name=name)

    def shown_by(self, read_back: Values, told: Set[str]) -> bool:
        """True when everything is as wanted. `told`: ids that controllers told."""
        shown = _as_told(self.line, self.values, read_back, told)
        return all(
            shown.get(key) == value or (key in self.nearly and _near(self.line, key, value, shown))
            for key, value in self.values.items()
        )


@dataclass(frozen=True, slots=True)
class _Found:
    """What was read, by as many ways as were needed; what they can bring; and what of it controllers told."""

    reading: Reading
    readable: frozenset[str]
    told: frozenset[str]


def _together(talk: Talk, ways: list[Way], wanted: set[str], expected: _Wanted, *, twice: bool) -> _Found:
    """What all ways that are needed bring. Raises NotUnderstood where it keeps changing.

    Where more than one was needed and something is not as expected, the first part must still be true after the last
    was read, else the parts never sounded together.
    """
    for _ in range(MOST_TOGETHER):
        first = _read_for(talk, ways[0], expected.only(ways[0].carries, expected.name), twice=twice)
        values, readable, told = dict(first.values), set(ways[0].carries), _told_by(ways[0])
        needed = [ways[0]]
        for way in ways[1:]:
            lacking = (wanted - readable) & way.carries
            if lacking:
                needed.append(way)
                more = _read_for(talk, way, expected.only(lacking), twice=twice)
                told |= _told_by(way) - set(values)
                values.update({key: value for key, value in more.values.items() if key not in values})
                readable |= way.carries
        reading = Reading(first.way, Values(values), first.name, first.received, first.raw)
        found = _Found(reading, frozenset(readable), told)
        if len(needed) == 1 or expected.only(readable).shown_by(reading.values, told):
            return found
        again = read_surely(talk, ways[0], expected=Knowledge(first.values, first.name, first.raw))
        if still(again.reading, first):
            return found
    raise keeps_changing(talk.line, MOST_TOGETHER, ())


def _told_by(way: Way) -> frozenset[str]:
    return way.carries if way.kind == "controllers" else frozenset()


def _read_for(talk: Talk, way: Way, expected: _Wanted, *, twice: bool) -> Reading:
    """One reading if it shows everything as expected, name included; else, or with `twice`, one that was confirmed."""
    if twice:
        return read_surely(talk, way).reading
    try:
        first = read(talk, way)
    except (Unreadable, NoReply, ForeignOnly, EchoLoop):
        return read_surely(talk, way).reading
    named = not expected.name or way.kind != "dump" or first.name == expected.name
    if named and expected.shown_by(first.values, _told_by(way)):
        return first
    return read_surely(talk, way).reading


def _as_told(line: Line, wanted: Values, read_back: Values, told: Set[str]) -> Values:
    """Where controllers told a parameter coarser than it is (7 bits of 14), what looks the same counts as equal."""
    same = {
        key: value
        for key, value in wanted.items()
        if key in told and key in read_back and alike(line, key, value, read_back[key], "instrument")
    }
    return read_back.with_values(same)


def _near(line: Line, key: str, value: int, shown: Values) -> bool:
    """True when what was read back is another value, but the one that controllers bring instead of this one."""
    return key in shown and shown[key] != value and alike(line, key, value, shown[key], "computer")
