"""Computer to instrument: a stored sound becomes the one that sounds, and what became of it is proved, not assumed."""

from __future__ import annotations

from collections.abc import Callable

from librarian.chart import Way
from librarian.errors import Refused
from librarian.messages import Values, Version
from librarian.transfer import limits
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.capture import as_version, read_all
from librarian.transfer.identify import introduce, refuse_stranger, still_there
from librarian.transfer.line import Line
from librarian.transfer.plan import Plan, make_plan, nothing_known, wanted_of
from librarian.transfer.read import askable
from librarian.transfer.reading import Reading
from librarian.transfer.results import Proof, Recalled, RecallState, proof_sentence, sent_sentence
from librarian.transfer.send import refused_it, send
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import and_list
from librarian.transfer.verify import prove, roads

MOST_ROUNDS = 3


def recall(
    line: Line,
    version: Version,
    *,
    verify: bool = True,
    with_setup: bool = False,
    whole: bool = False,
    way: Way | str | None = None,
    keep_before: Callable[[Version], object] | None = None,
    rounds: int = MOST_ROUNDS,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> Recalled:
    """Bring a version into the edit buffer and read it back.

    What is in the instrument is read first, where it can be read, and given to `keep_before` before the first byte is
    sent. Set-up (unless `with_setup`) and unknowns are never sent. Only what differs travels, unless `whole`. What did
    not arrive is sent again, slower, at most `rounds` times.

    Raises Refused (another chart, no way without inventing values), WrongInstrument, NoReply, EchoLoop, ForeignOnly,
    NotUnderstood, CableLost, Busy. After Cancelled or CableLost the text says what the instrument holds.
    """
    _check(line, version)
    with line.talk("recall", cancel, progress) as talk:
        talk.limit_s = limits.recall_s(line, rounds)
        talk.state = f"Nothing was sent; {line.name} is as it was."
        introduce(talk)
        refuse_stranger(line.identified)
        wanted = wanted_of(line, version, with_setup=with_setup)
        if not wanted:
            raise nothing_known(line)
        ways = askable(line)
        before: Version | None = None
        now: Reading | None = None
        if ways:
            now = read_all(talk, ways, line.known()).reading
            before = as_version(line, now, kind="safety", detail=f"before a recall, on {line.port}")
            if keep_before is not None:
                keep_before(before)
        else:
            still_there(talk)
        plan = make_plan(line, version, wanted, now, way=way, whole=whole)
        line.forget()
        naks = talk.naks
        refusal = send(talk, plan)
        others = Values() if now is None else now.values.without(plan.wanted)
        run = _Run(talk, plan, version, before, others, with_setup, refusal, naks)
        back = roads(talk, plan.wanted) if verify else []
        if not back:
            return run.unproved(checked=verify)
        return run.proved(back, rounds)


def refusal(
    line: Line, version: Version, *, with_setup: bool = False, way: Way | str | None = None
) -> Refused | None:
    """Why a recall to an instrument that cannot be read is refused before anything is sent; None if it is not."""
    try:
        _check(line, version)
        wanted = wanted_of(line, version, with_setup=with_setup)
        if not wanted:
            return nothing_known(line)
        make_plan(line, version, wanted, None, way=way, whole=True)
    except Refused as reason:
        return reason
    return None


def _check(line: Line, version: Version) -> None:
    chart = line.chart
    if version.chart != chart.id:
        raise Refused(
            f"This sound belongs to the chart “{version.chart}”, and {line.name} is described by “{chart.id}”.",
            "Choose a sound of this instrument.",
        )
    if version.revision != chart.revision:
        raise Refused(
            f"This sound was kept with revision {version.revision} of the chart, and {line.name} uses revision "
            f"{chart.revision}.",
            "Carry the sound over to that revision first (in the terminal: librarian carry).",
        )


class _Run:
    """From the last byte sent to the result."""

    def __init__(
        self,
        talk: Talk,
        plan: Plan,
        version: Version,
        before: Version | None,
        others: Values,
        with_setup: bool,
        refusal: str,
        naks: int,
    ) -> None:
        self._talk = talk
        self._line = talk.line
        self._plan = plan
        self._version = version
        self._before = before
        self._others = others
        self._with_setup = with_setup
        self._refusal = refusal
        self._naks = naks
        self._rounds = 0

    def unproved(self, *, checked: bool) -> Recalled:
        """Everything was sent; nothing can read it back, or nobody asked to."""
        count = len(self._plan.wanted)
        sentence = sent_sentence(count, count, with_setup=self._with_setup)
        if not checked:
            sentence = f"{sentence.removesuffix(', cannot be verified')}, not verified"
        if self._refusal:
            return self._result("differs", f"{sentence}; {self._refusal}", None)
        return self._result("sent", sentence, None)

    def proved(self, ways: list[Way], rounds: int) -> Recalled:
        """Read back, send again what did not arrive, and say what is true in the end."""
        talk, line = self._talk, self._line
        talk.state = f"Everything was sent to {line.name}, but not all of it was read back."
        proof = self._prove(ways)
        while (proof.differs or proof.disturbed or proof.name) and self._rounds < rounds and not self._refusal:
            self._rounds += 1
            self._naks = talk.naks
            line.slower()
            self._refusal = send(talk, self._repair(proof, ways[0]))
            proof = self._prove(ways)
        # A packet refused and then taken, and a refusal that comes while it is read back already, end no repair.
        late = refused_it(talk) if talk.naks > self._naks else ""
        state, sentence = proof_sentence(line.chart, proof, with_setup=self._with_setup)
        if state == "arrived":
            line.learn(proof.read, self._plan.name, proof.raw)
        if (why := self._refusal or late) and state != "arrived":
            sentence = f"{sentence}; {why}"
        return self._result(state, sentence, proof)

    def _prove(self, ways: list[Way]) -> Proof:
        plan = self._plan
        return prove(
            self._talk, ways, plan.wanted, plan.name,
            others=self._others, with_setup=self._with_setup, nearly=plan.nearly,
        )  # fmt: skip

    def _repair(self, proof: Proof, way: Way) -> Plan:
        """What did not arrive, once more, and what was disturbed, as it was; what the player moved meanwhile stays."""
        before = self._others.only(proof.disturbed)
        now = Reading(way, proof.read.with_values(before), proof.name or self._plan.name, (), proof.raw)
        missing = self._plan.wanted.only(proof.differs).with_values(before)
        if missing and not proof.name:
            single = [one for one in self._line.chart.ways_out if one.kind in {"controllers", "parameters"}]
            for one in single:
                try:
                    plan = make_plan(self._line, self._version, missing, now, way=one, whole=True)
                except Refused:
                    continue
                if not plan.left_out and plan.nearly <= self._plan.nearly:
                    return plan
            # nothing reaches each of them alone as exactly: everything again, by the first way
        still = self._plan.wanted.without(proof.moved)
        return make_plan(self._line, self._version, still, now, way=None, whole=True)

    def _result(self, state: RecallState, sentence: str, proof: Proof | None) -> Recalled:
        talk, plan = self._talk, self._plan
        state, sentence = self._with_left_out(state, sentence, proof)
        counted = set(self._version.values) - set(plan.wanted)
        return Recalled(
            state=state,
            sent=len({name for burst in plan.bursts for name in burst.parameters if name in plan.wanted}),
            of=len(plan.wanted),
            equal=0 if proof is None else len(proof.equal),
            proof=proof,
            comparison=None if proof is None else proof.comparison,
            left_out=tuple(name for name in self._line.chart.parameters if name in counted),
            before=self._before,
            way=plan.way.label or plan.way.kind,
            rounds=self._rounds,
            slowed=self._line.pace.slowed,
            saved=plan.saved,
            bytes_out=talk.bytes_out,
            bytes_in=talk.bytes_in,
            seconds=talk.seconds,
            sentence=sentence,
        )

    def _with_left_out(self, state: RecallState, sentence: str, proof: Proof | None) -> tuple[RecallState, str]:
        """What no way of the chart brings is as it was: said, unless it happens to be as it should be."""
        chart = self._line.chart
        read = self._others if proof is None else self._others.with_values(proof.read)
        lacking = [name for name in self._plan.left_out if read.get(name) != self._version.values[name]]
        if not lacking:
            return state, sentence
        labels = and_list([chart.parameters[name].label for name in lacking])
        said = f"{sentence}; {labels} could not be sent, because no way of recall in its chart carries "
        said += "it" if len(lacking) == 1 else "them"
        if state == "arrived":
            state = "differs" if any(name in read for name in lacking) else "sent"
        return state, said
