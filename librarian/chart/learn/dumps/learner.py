"""Learning from dumps: dump, move one control, dump again, and be told which move would tell wrong guesses apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from librarian.chart.chart import Chart
from librarian.chart.learn.dumps.evidence import Dial, Evidence
from librarian.chart.learn.dumps.finding import Finding, Found, again, find, with_fields
from librarian.chart.learn.dumps.framing import Framing
from librarian.chart.learn.dumps.guess import distinct
from librarian.chart.learn.dumps.tomls import dump_chart
from librarian.chart.load import loads
from librarian.errors import BadInput, Refused

NAMES = ("ABCDEFGHIJKLMNOPQRSTUVWXYZ", "Az 09")
"""What to call the sound: as long as it goes, then short, with one of each kind of character."""
ALL_POSITIONS = 16
"""Of a control with at most so many positions every one is asked for: codes may stand in any order."""


@dataclass(frozen=True, slots=True)
class Question:
    """What to do before the next dump. `control`, `value`: which one to move, and where to. `asks`: what the person may
    type before the dump, "" when nothing; `text` counts where nothing is typed."""

    kind: Literal["first", "other", "move", "name"]
    sentence: str
    control: str = ""
    value: int = 0
    asks: str = ""
    text: str = ""


def dials_of(chart: Chart) -> tuple[Dial, ...]:
    """The controls of a chart that is to get its dumps: its sound and set-up parameters."""
    return tuple(Dial(one.id, one.label, one.low, one.high, one.positions) for one in chart.parameters.values())


class DumpLearner:
    """Fed with dumps of one kind. `dials`: the controls that may be in them; `others`: how many other sounds to ask.

    Either follow `question()` and give each dump to `answer()`, or tell of moves with `sound()` and `moved()` in any
    order; both may be mixed.
    """

    def __init__(self, dials: Sequence[Dial], *, others: int = 2, names: bool = False) -> None:
        if not dials:
            raise BadInput("There is no control to learn.", "Describe the controls in a chart, or learn them first.")
        self.dials = tuple(dials)
        self.evidence = Evidence()
        self.asked = 0
        self._others = others
        self._by_id = {dial.id: dial for dial in dials}
        self._finding: Finding | None = None
        self._framed: Framing | None = None
        self._seen = 0
        self._checked: dict[str, Found] = {}
        self._spent: set[tuple[str, int]] = set()
        self._heard: dict[str, int | None] = {}
        self._names = names
        self.notes: tuple[str, ...] = ()

    # --- what was seen

    def sound(self, *raws: bytes, program: int | None = None) -> None:
        """A dump of any sound; `program`: its number as the instrument counts. Raises BadInput for what cannot belong
        to the dumps before it."""
        self.evidence.sound(raws, program)

    def moved(self, control: str, value: int | None, *raws: bytes) -> None:
        """A dump after this control alone was moved since the dump before; `value` None: nobody knows where to.

        Raises BadInput as `sound`, and for an unknown control or a value outside its range.
        """
        dial = self._by_id.get(control)
        if dial is None:
            raise BadInput(f"There is no control {control}.", "Take one of the chart's parameters.")
        if value is not None and not dial.low <= value <= dial.high:
            raise BadInput(f"{dial.label} cannot be {value}: it reaches from {dial.low} to {dial.high}.")
        self.evidence.moved(control, value, raws)

    def heard(self, control: str, value: int | None) -> None:
        """The panel itself told of a move since the dump before; that is surer than what was asked for."""
        if control in self._by_id:
            self._heard[control] = value

    def answer(self, question: Question, *raws: bytes, text: str = "") -> None:
        """The dump that was asked for. Raises BadInput as `sound`."""
        heard, self._heard = self._heard, {}
        if question.kind == "move":
            self._answered(question, heard, raws)
        elif question.kind == "name":
            self.evidence.named(text.rstrip() or question.text, raws)
        else:
            self.sound(*raws, program=_number(text))
        self.asked += 1

    def _answered(self, question: Question, heard: Mapping[str, int | None], raws: tuple[bytes, ...]) -> None:
        """What was heard from the panel goes before what was asked for: a knob is rarely set to a number."""
        if len(heard) > 1:
            self.evidence.several(heard, raws)
            names = " and ".join(self._by_id[name].label for name in heard)
            raise BadInput(f"{names} moved together; this dump does not tell them apart.", "Move one control only.")
        self._spent.add((question.control, question.value))
        control, value = next(iter(heard.items()), (question.control, question.value))
        self.moved(control, value, *raws)

    def skip(self, question: Question) -> None:
        """This cannot be done, or not to this value: it is not asked again."""
        if question.kind == "move":
            self._spent.add((question.control, question.value))
        elif question.kind == "name":
            self._names = False
        elif question.kind == "other":
            self._others = self.evidence.others

    def take_back(self) -> None:
        """Forget the newest dump: more was moved than that control. Raises Refused without one."""
        gone = self.evidence.take_back()
        if gone.moved is not None:
            self._spent -= {(gone.moved, value) for value in gone.state.values()}
        self._finding = None

    # --- what to do next

    def question(self) -> Question | None:
        """What would tell most, or None when there is nothing left to tell apart."""
        if not self.evidence.shots:
            return Question("first", "Send a dump of the sound as it is.", asks=self._programs)
        if self.evidence.others < self._others and not any(shot.moved for shot in self.evidence.shots):
            return Question("other", "Choose a quite different sound, and send a dump of it.", asks=self._programs)
        for dial in self.dials:
            seen = self.evidence.values(dial.id)
            for value, end in ((dial.low, "lowest"), (dial.high, "highest")):
                if value not in seen and (dial.id, value) not in self._spent:
                    return self._move(dial, value, f"its {end} position")
        finding = self.finding()
        for dial in self.dials:
            value_ = self._telling(finding, dial)
            if value_ is not None:
                return self._move(dial, value_, dial.steps[value_ - dial.low] if dial.steps else str(value_))
        texts = {shot.text for shot in self.evidence.shots}
        for text in NAMES if self._names else ():
            if text not in texts and ("name", len(text)) not in self._spent and len(texts - {""}) < len(NAMES):
                sentence = f"Change nothing but the sound’s name, to {text} as far as it goes, then send a dump."
                return Question("name", sentence, value=len(text), asks=f"what you called it, if not {text}", text=text)
        return None

    @property
    def _programs(self) -> str:
        return "its program number, if it has one" if self._names else ""

    def _move(self, dial: Dial, value: int, where: str) -> Question:
        if dial.steps and str(value) not in where:
            where = f"{dial.steps[value - dial.low]} ({where})" if "position" in where else where
        sentence = f"Move {dial.label} to {where} and nothing else, then send a dump."
        return Question("move", sentence, dial.id, value)

    def _telling(self, finding: Finding, dial: Dial) -> int | None:
        """The value of a control that tells its guesses apart best; None when there is nothing to tell."""
        found = finding.controls[dial.id]
        seen = self.evidence.values(dial.id)
        free = [value for value in _trials(dial) if value not in seen and (dial.id, value) not in self._spent]
        if not found.moved or not free:
            return None
        if dial.steps and dial.size <= ALL_POSITIONS:
            return free[0]
        if found.guesses:
            image = finding.images[-1].tobytes()
            best = max(free, key=lambda value: distinct(found.guesses, image, value))
            if distinct(found.guesses, image, best) > 1:
                return best
            return _middle(dial, free) if len(seen) < min(3, dial.size) else None
        if found.unsettled:
            now = found.unsettled[0]
            return max(free, key=now.classes)
        return _middle(dial, free) if len(seen) < min(3, dial.size) else None

    # --- what it means

    def finding(self) -> Finding:
        """The likeliest reading of all dumps so far, with the fields of every control. Raises Refused without dumps."""
        if not self.evidence.shots:
            raise Refused("There is no dump yet.", "Send a dump first.")
        count = len(self.evidence.shots)
        if self._finding is not None and self._seen == count:
            return self._finding
        kept = self._kept()
        self._finding = kept if kept is not None else self._fresh()
        self._seen = count
        return self._finding

    def _fresh(self) -> Finding:
        found = find(self.evidence, self.dials)
        if not found:
            raise Refused(
                "Nothing that changed in the dumps looks like data.", "Move a control that belongs to the sound."
            )
        return with_fields(found[0], self.evidence, self.dials)

    def _kept(self) -> Finding | None:
        """The reading found before, while it explains what came since."""
        before, framed = self._finding, self._framed
        self._framed = self.evidence.framing
        if before is None or framed != self._framed:
            return None
        now = again(before, self.evidence, self.dials)
        if now is None:
            return None
        moved = {shot.moved for shot in self.evidence.shots[self._seen :]}
        if None in moved:
            return None
        now = with_fields(now, self.evidence, self.dials)
        for name in moved:
            if name is not None and before.controls[name].guesses and not now.controls[name].guesses:
                return None
        return now

    def chart_text(self, existing: str, *, request: bytes | None = None, device: int | None = None) -> str:
        """The chart with the message and its layout added; comments and form of `existing` survive.

        `request`: the message that asks for the dump, if one is known. `device`: the unit's device ID, if known.
        What cannot be explained is kept as it comes; `notes` says what, in sentences. Raises Refused while no control
        was found.
        """
        finding = self.finding()
        text, self.notes = dump_chart(existing, self.evidence, finding, request=request, device=device)
        loads(text, "the learnt chart")
        return text


def _number(text: str) -> int | None:
    return int(text) if text.strip().isdecimal() else None


def _middle(dial: Dial, free: Sequence[int]) -> int:
    wanted = dial.low + round(0.37 * (dial.high - dial.low))
    return min(free, key=lambda value: abs(value - wanted))


def _trials(dial: Dial) -> list[int]:
    """Values worth asking for: all of a short range, else ends, powers of two and some between."""
    if dial.size <= 64:
        return list(range(dial.low, dial.high + 1))
    span = dial.high - dial.low
    some = {dial.low, dial.high, 0, 1, -1, dial.low + 1, dial.high - 1, dial.low + span // 2}
    some |= {dial.low + span * part // 23 for part in range(24)}
    some |= {sign * (1 << bit) + less for bit in range(28) for sign in (1, -1) for less in (0, -1)}
    for shift in range(5):  # alternating groups of bits, which tell the bits of a spread number apart
        pattern = sum(1 << bit for bit in range(28) if bit >> shift & 1)
        some |= {dial.low + (pattern & span), pattern & max(dial.high, 0)}
    return sorted(value for value in some if dial.low <= value <= dial.high)
