"""The whole job with one instrument, each step with its proof: what `librarian demo` does twice.

Identify, capture, keep, tag, find, turn three knobs, capture, compare, recall, verify; and at the end the stand-in is
asked by another road than MIDI what it really holds. A step holds only when its proof does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from librarian import sounds, transfer
from librarian.chart import Chart, Parameter
from librarian.collection import Library
from librarian.messages import Comparison, Values
from librarian.standin import Instrument
from librarian.transfer import Line

NAME = "Tonight, as it stands"
LISTEN_S = 0.5
TAGS = ("rehearsal", "act 1")


@dataclass(frozen=True, slots=True)
class Step:
    """One step done. `proof`: what was seen, in a sentence. `comparison`: the rows behind it, if any."""

    name: str
    proof: str
    holds: bool
    comparison: Comparison | None = None


def whole_job(library: Library, instrument: int, line: Line, stand_in: Instrument) -> Iterator[Step]:
    """Do the job, one step after the other; ends early after a step that does not hold."""
    job = _Job(library, instrument, line, stand_in)
    for do in job.steps():
        step = do()
        yield step
        if not step.holds:
            return


class _Job:
    def __init__(self, library: Library, instrument: int, line: Line, stand_in: Instrument) -> None:
        self._library = library
        self._instrument = instrument
        self._line = line
        self._stand_in = stand_in
        self._chart: Chart = line.chart
        self._name = f"{NAME}, {line.name}"
        self._patch = 0
        self._first = Values()
        self._turned: dict[str, tuple[int, int]] = {}

    def steps(self) -> tuple[Callable[[], Step], ...]:
        return (
            self.identify,
            self.capture,
            self.tag,
            self.find,
            self.turn,
            self.capture_again,
            self.compare,
            self.recall,
            self.verify,
            self.other_road,
        )

    def identify(self) -> Step:
        found = transfer.identify(self._line)
        return Step("identify", found.sentence, found.fits == "fits")

    def capture(self) -> Step:
        found = transfer.capture(self._line)
        self._patch = self._library.keep(self._instrument, self._name, found.version)
        self._first = found.version.values
        kept = self._library.version(self._library.patch(self._patch).latest)
        holds = not found.missing and kept.values == Values(self._stand_in.sound)
        return Step("capture and keep", f"{found.sentence}; kept as number {self._patch}, “{self._name}”", holds)

    def tag(self) -> Step:
        self._library.tag([self._patch], add=TAGS)
        tags = self._library.patch(self._patch).tags
        return Step("tag", f"tags are {', '.join(tags)}", set(tags) == set(TAGS))

    def find(self) -> Step:
        words = f"{NAME.split(',', maxsplit=1)[0].lower()} {TAGS[0]}"
        found = self._library.find(words, instrument=self._instrument)
        proof = f"“{words}” finds {len(found.ids)} of {found.total} patches, this one among them"
        return Step("find", proof, self._patch in found.ids)

    def turn(self) -> Step:
        said = []
        for parameter in three_knobs(self._chart):
            before = self._stand_in.sound[parameter.id]
            after = _elsewhere(parameter, before)
            self._stand_in.turn(parameter.id, after, self._line.clock.now())
            self._turned[parameter.id] = (before, after)
            said.append(f"{parameter.label} {parameter.display(before)} to {parameter.display(after)}")
        heard: set[str] = set()
        for _ in self._turned:
            heard |= {each.parameter for each in transfer.listen(self._line, LISTEN_S)}
        moved = [name for name, (_, after) in self._turned.items() if self._stand_in.sound[name] == after]
        holds = len(moved) == len(self._turned) and heard == set(self._turned)
        return Step("turn three knobs", f"{'; '.join(said)}; {len(heard)} heard on the cable", holds)

    def capture_again(self) -> Step:
        found = transfer.capture(self._line)
        self._library.add_version(self._patch, found.version)
        versions = self._library.versions(self._patch)
        proof = f"{found.sentence}; kept as version {versions[-1].number}, version 1 stays"
        return Step("capture again", proof, not found.missing and len(versions) == 2)

    def compare(self) -> Step:
        first, second = (self._library.version(each.id) for each in self._library.versions(self._patch))
        comparison = sounds.compare_versions(self._chart, first, second)
        found = {row.parameter: (row.a, row.b) for row in comparison.different}
        count = len(comparison.counted)
        words = ", ".join(
            f"{self._chart.parameters[row.parameter].label} {row.text_difference}" for row in comparison.different
        )
        proof = f"{len(found)} of {count} differ, exactly the knobs turned: {words}"
        if found != self._turned:
            proof = f"{len(found)} of {count} differ, but {len(self._turned)} knobs were turned: {words}"
        return Step("compare the versions", proof, found == self._turned, comparison)

    def recall(self) -> Step:
        first = self._library.versions(self._patch)[0]
        done = transfer.recall(self._line, self._library.version(first.id))
        proof = f"{done.sentence}; {done.bytes_out} bytes out, {done.bytes_in} in, {done.seconds:.1f} s"
        return Step("recall version 1", proof, done.state == "arrived")

    def verify(self) -> Step:
        first = self._library.versions(self._patch)[0]
        done = transfer.verify(self._line, self._library.version(first.id))
        return Step("verify", done.sentence, done.state == "arrived")

    def other_road(self) -> Step:
        """What the stand-in says of itself, not over MIDI."""
        wanted = self._first.only(self._chart.sound_ids)
        holds = Values(self._stand_in.sound).only(self._chart.sound_ids)
        equal = sum(holds[name] == value for name, value in wanted.items())
        proof = f"asked without MIDI, the stand-in holds {equal} of {len(wanted)} sound parameters of version 1"
        return Step("the other road", proof, holds == wanted and len(wanted) == len(self._chart.sound_ids))


def three_knobs(chart: Chart) -> tuple[Parameter, ...]:
    """Three sound parameters to turn: ranged ones of different sections if there are enough."""
    wanted = [chart.parameters[name] for name in chart.sound_ids]
    ranged = [each for each in wanted if each.kind in {"continuous", "bipolar"}] or wanted
    by_section = list({each.section: each for each in reversed(ranged)}.values())[::-1]
    chosen = dict.fromkeys(each.id for each in (*by_section[1:], *by_section[:1], *ranged, *wanted))
    return tuple(chart.parameters[name] for name in list(chosen)[:3])


def _elsewhere(parameter: Parameter, value: int) -> int:
    """A clearly different position: a third of the range up, or down where there is no room."""
    step = max(1, (parameter.high - parameter.low) // 3)
    return value + step if value + step <= parameter.high else value - step
