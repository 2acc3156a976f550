"""What is learnt, as the page shows it: controls of a panel, or a dump. No Qt; the engine is `chart.learn`."""

from __future__ import annotations

from dataclasses import dataclass, field

from librarian.chart import Chart
from librarian.chart.learn import Control, PanelLearner
from librarian.chart.learn.dumps import DumpLearner, Finding, Moved, Question, moved_in
from librarian.errors import LibrarianError, Refused
from librarian.messages import Message

PAUSE_S = 0.5
"""Messages of one dump follow each other within this time, also on slow instruments."""


@dataclass(frozen=True)
class PanelView:
    """`controls` in the order in which they first moved; `current`: key of the one that moved last, or None."""

    controls: tuple[Control, ...] = ()
    current: int | None = None
    unused: tuple[tuple[str, int], ...] = ()
    longer: int = 0
    answered: str = ""

    def of(self, key: int | None) -> Control | None:
        """The control with this key."""
        return next((one for one in self.controls if one.key == key), None)

    @property
    def named(self) -> int:
        """How many have a name."""
        return sum(bool(one.label) for one in self.controls)


class PanelSubject:
    """Feeds a `PanelLearner`."""

    busy = ""

    def __init__(self, known: Chart | None = None) -> None:
        self.learner = PanelLearner(known)

    def take(self, message: Message) -> bool:
        """Everything counts: notes and clocks are told apart by the learner."""
        if message.raw[0] >= 0xF8:
            return False
        self.learner.feed(message.raw, message.at)
        return True

    def rest(self, _now: float) -> bool:
        """Nothing waits."""
        return False

    def view(self) -> PanelView:
        """The controls so far."""
        current = self.learner.current()
        who = self.learner.identity
        return PanelView(
            self.learner.controls(), current.key if current is not None else None,
            tuple(sorted(self.learner.unused.items())), self.learner.long,
            f"maker {who.manufacturer.hex(' ').upper()}, family {who.family}, member {who.member}" if who else "",
        )  # fmt: skip


@dataclass(frozen=True)
class DumpView:
    """`question`: what to do next, None when all is told apart. `moved`: what changed in the newest dump.

    `trouble`: why nothing can be written yet, "" when the chart could be written now.
    """

    question: Question | None
    dumps: int = 0
    moved: tuple[Moved, ...] = ()
    finding: Finding | None = None
    trouble: str = ""
    labels: dict[str, str] = field(default_factory=dict)


class DumpSubject:
    """Feeds a `DumpLearner` with every dump that comes, as the answer to its question of the moment.

    A dump may be several messages: it has ended when nothing more came for a moment.
    """

    def __init__(self, learner: DumpLearner, chart: Chart | None = None) -> None:
        self.learner = learner
        self._listener = chart.codec.listener(chart.default_address) if chart is not None else None
        self._text = ""
        self.question: Question | None = learner.question()
        self._labels = {dial.id: dial.label for dial in learner.dials}
        self._pieces: list[Message] = []

    @property
    def busy(self) -> str:
        """Working out what the dumps say may take seconds."""
        count = len(self.learner.evidence.shots)
        return f"Working out what {count} dumps say together." if count > 1 else ""

    def take(self, message: Message) -> bool:
        """A piece of a dump, or something that is none."""
        raw = message.raw
        heard = self._listener.feed(raw, message.at) if self._listener is not None else ()
        for one in heard:
            self.learner.heard(one.parameter, one.value if one.exact else None)
        if not heard and raw[0] == 0xF0 and raw[1:2] not in (b"\x7e", b"\x7f"):
            self._pieces.append(message)
        return False

    def rest(self, now: float) -> bool:
        """The dump has ended. Raises BadInput for what cannot belong to the dumps before it."""
        if not self._pieces or now - self._pieces[-1].at < PAUSE_S:
            return False
        raws = [one.raw for one in self._pieces]
        self._pieces = []
        if self.question is None:
            raise Refused("Nothing more is asked; this dump was not used.", "Write the chart.")
        text, self._text = self._text, ""
        self.learner.answer(self.question, *raws, text=text)
        return True

    def told(self, text: str) -> None:
        """What the person called the sound, before its dump comes."""
        self._text = text

    def skip(self) -> None:
        """The question of the moment cannot be done on this instrument."""
        if self.question is not None:
            self.learner.skip(self.question)

    def take_back(self) -> None:
        """Forget the newest dump: something else was moved too."""
        self.learner.take_back()

    def view(self) -> DumpView:
        """What the dumps say, and what to do next."""
        self.question = self.learner.question()
        shots = self.learner.evidence.shots
        if len(shots) < 2:
            return DumpView(self.question, len(shots), trouble="It takes at least two dumps.", labels=self._labels)
        try:
            finding = self.learner.finding()
        except LibrarianError as problem:
            return DumpView(self.question, len(shots), trouble=str(problem), labels=self._labels)
        trouble = "" if any(one.guesses for one in finding.controls.values()) else "No control was found in them yet."
        return DumpView(
            self.question, len(shots), moved_in(self.learner.evidence, finding), finding, trouble, self._labels
        )
