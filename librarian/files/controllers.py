"""Runs of controller messages (and single-parameter messages) in a file, cut into sounds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from librarian.chart import Listener
from librarian.files.targets import Target

Run = tuple[int, int | None, tuple[bytes, ...], str, tuple[int, ...]]
"""Place of its first message, whose it is (None: nobody's), its messages, why it is no sound, whose else it may be."""
_TOO_LONG = 200_000


class ControllerRun:
    """Collects messages until a sound is complete, or something else comes.

    A run belongs to the instrument that most of it says something to. It ends where the chart says that a dump of
    controllers ends (its last controller, or their number); a chart without such a rule gets one sound from a run.
    """

    def __init__(self, targets: Sequence[Target]) -> None:
        self._targets = targets
        self._ends = [_end(target) for target in targets]
        self._listeners: list[Listener] = [each.chart.codec.listener(each.address) for each in targets]
        self._clear()

    def _clear(self) -> None:
        self._messages: list[bytes] = []
        self._place = 0
        self._heard: list[set[str]] = [set() for _ in self._targets]
        for listener in self._listeners:
            listener.restart()

    def feed(self, place: int, raw: bytes, index: int | None) -> Iterator[Run]:
        """Take a message; gives what it completed. `index`: the target it is known to belong to."""
        if not self._messages:
            self._place = place
        self._messages.append(raw)
        ended = False
        for which, listener in enumerate(self._listeners):
            if index is not None and which != index:
                continue
            for heard in listener.feed(raw):
                self._heard[which].add(heard.parameter)
                count, last = self._ends[which]
                if heard.settled and len(self._heard[which]) > 1:
                    ended |= heard.parameter == last or (count is not None and len(self._heard[which]) >= count)
        if ended or len(self._messages) >= _TOO_LONG:
            yield from self.finish()

    def finish(self) -> Iterator[Run]:
        """End the run: what it is."""
        if not self._messages:
            return
        place, messages, heard = self._place, tuple(self._messages), self._heard
        self._clear()
        best = max(range(len(heard)), key=lambda which: len(heard[which]), default=None)
        if best is None or not heard[best]:
            yield place, None, messages, "No chart here gives these controllers a meaning.", ()
            return
        known = len(self._targets[best].chart.parameters)
        if 2 * len(heard[best]) < known:
            yield (
                place,
                None,
                messages,
                f"Only {len(heard[best])} of {known} parameters of {self._targets[best].name} are in it.",
                (),
            )
            return
        others = (which for which, each in enumerate(heard) if which != best and len(each) == len(heard[best]))
        yield place, best, messages, "", tuple(others)


def _end(target: Target) -> tuple[int | None, str | None]:
    """How many parameters, and which last one, end a dump of controllers of this chart."""
    for way in target.chart.ways_in:
        if way.kind == "controllers" and way.end is not None:
            return way.end.count, way.end.last
    return None, None
