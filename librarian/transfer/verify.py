"""Reading back: what is in the instrument against what should be, value by value, name included."""

from __future__ import annotations

from librarian.chart import Way
from librarian.messages import Values, Version
from librarian.sounds.compare import compare
from librarian.transfer import limits
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.identify import introduce, refuse_stranger
from librarian.transfer.line import Knowledge, Line
from librarian.transfer.plan import nothing_known, wanted_of
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
        proof = prove(talk, ways, wanted, with_setup=with_setup, twice=True)
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
) -> Proof:
    """Read back until equality is shown, or the difference is certain. `others`: what must not have changed.

    After it was sent, an answer that is equal to what was wanted proves it: damage does not make a wrong sound look
    like that very one. One that differs may itself be damaged, so it is believed only when a second one says the same.
    `twice`: nothing was sent, so that a short sound may be a switch away from the wanted one, and bytes that changed
    places on the cable can make it look equal: every answer needs a second one.
    """
    all_of_it = Values(others or {}).with_values(wanted)
    reading, readable = _together(talk, ways, set(wanted), all_of_it, name, twice=twice)
    read_back = reading.values
    exact = _coarse_as_wanted(talk.line, ways, wanted, read_back)
    equal = tuple(key for key, value in wanted.items() if exact.get(key) == value)
    rest = [key for key in wanted if key not in equal]
    moved = tuple(key for key in rest if key in talk.moved and exact.get(key) == talk.moved[key].value)
    unread = tuple(key for key in rest if key not in readable)
    silent = tuple(key for key in rest if key in readable and key not in read_back)
    strange = [key for key, value in (others or {}).items() if key not in wanted and exact.get(key, value) != value]
    carries_name = any(way.kind == "dump" and talk.line.chart.codec.messages[way.message].has_name for way in ways[:1])
    return Proof(
        wanted=wanted,
        read=read_back,
        equal=equal,
        differs=tuple(key for key in rest if key not in moved and key not in unread and key not in silent),
        moved=moved,
        disturbed=tuple(key for key in strange if key not in talk.moved),
        unread=unread,
        name=reading.name if name and carries_name and reading.name != name else "",
        comparison=compare(talk.line.chart, wanted, exact, with_setup=with_setup),
        raw=reading.raw,
        silent=silent,
    )


def _together(
    talk: Talk, ways: list[Way], wanted: set[str], all_of_it: Values, name: str, *, twice: bool
) -> tuple[Reading, set[str]]:
    """What all ways that are needed bring, and what they can bring. Raises NotUnderstood where it keeps changing.

    Where more than one was needed and something is not as expected, the first part must still be true after the last
    was read, else the parts never sounded together.
    """
    for _ in range(MOST_TOGETHER):
        first = _read_for(talk, ways[0], all_of_it, name, twice=twice)
        values, readable = dict(first.values), set(ways[0].carries)
        needed = [ways[0]]
        for way in ways[1:]:
            lacking = wanted - readable
            if lacking & set(way.carries):
                needed.append(way)
                more = _read_for(talk, way, all_of_it.only(lacking), "", twice=twice)
                values.update({key: value for key, value in more.values.items() if key not in values})
                readable |= set(way.carries)
        reading = Reading(first.way, Values(values), first.name, first.received, first.raw)
        exact = _coarse_as_wanted(talk.line, ways, all_of_it, reading.values)
        if len(needed) == 1 or all(exact.get(key) == value for key, value in all_of_it.items() if key in readable):
            return reading, readable
        again = read_surely(talk, ways[0], expected=Knowledge(first.values, first.name, first.raw))
        if still(again.reading, first):
            return reading, readable
    raise keeps_changing(talk.line, MOST_TOGETHER, ())


def _read_for(talk: Talk, way: Way, expected: Values, name: str, *, twice: bool) -> Reading:
    """One reading if it shows everything as expected, name included; else, or with `twice`, one that was confirmed."""
    if twice:
        return read_surely(talk, way).reading
    needed = expected.only(way.carries)
    try:
        first = read(talk, way)
    except (Unreadable, NoReply, ForeignOnly, EchoLoop):
        return read_surely(talk, way).reading
    exact = _coarse_as_wanted(talk.line, [way], needed, first.values)
    named = not name or way.kind != "dump" or first.name == name
    if named and all(exact.get(key) == value for key, value in needed.items()):
        return first
    return read_surely(talk, way).reading


def _coarse_as_wanted(line: Line, ways: list[Way], wanted: Values, read_back: Values) -> Values:
    """Where a parameter comes back coarser than it is (7 bits of 14), a value that looks the same counts as equal."""
    if not any(way.kind == "controllers" for way in ways):
        return read_back
    controllers = line.chart.codec.controllers
    same = {}
    for key, value in wanted.items():
        if key not in read_back or read_back[key] == value:
            continue
        shown = [
            [one.messages for one in controllers(Values({key: each}), line.address, only=[key], side="instrument")]
            for each in (value, read_back[key])
        ]
        if shown[0] and shown[0] == shown[1]:
            same[key] = value
    return read_back.with_values(same)
