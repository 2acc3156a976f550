"""The part of the desk that chooses: which sound is A, which lies beside it as B, and in which of their versions."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from librarian.chart import Chart, carry
from librarian.errors import LibrarianError, Refused
from librarian.messages import Version
from librarian.window.desk.choice import Choice, Side
from librarian.window.desk.standing import Standing
from librarian.window.words import quoted

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import AbstractContextManager

    from PySide6.QtCore import SignalInstance

    from librarian.collection import Library
    from librarian.window.desk.instruments import Instruments


class Choosing:
    """Inherited by `Desk`; needs what is named here of it."""

    library: Library
    instruments: Instruments
    choice: Choice
    chosen: SignalInstance
    revert: Callable[[int, int, int], None]
    reading: Callable[[], AbstractContextManager[None]]

    def side(self, patch: int, version: int | None = None) -> Side:
        """A patch in its latest or another version."""
        row = self.library.patch(patch)
        versions = self.library.versions(patch)
        chosen = row.latest if version is None else version
        found = next((one for one in versions if one.id == chosen), versions[-1])
        return Side(row.name, self.library.version(found.id), row, found, versions)

    def choose_a(self, patch: int | None) -> None:
        """This patch is A from now on, alone."""
        with self.reading():
            self._set(Choice() if patch is None else self._with_a(self.side(patch)))

    def choose_b(self, patch: int, version: int | None = None) -> None:
        """Lay this patch beside A; without an A it becomes A."""
        if self.choice.a is None:
            self.choose_a(patch)
        else:
            with self.reading():
                self._set(self._beside(self.choice, self.side(patch, version)))

    def end_compare(self) -> None:
        """A alone again."""
        if self.choice.a is not None:
            self._set(Choice(self.choice.a, None, self.choice.chart))

    def swap(self) -> None:
        """B becomes A, A becomes B."""
        if self.choice.a is not None and self.choice.b is not None:
            with self.reading():
                self._set(self._beside(self._with_a(self.choice.b), self.choice.a))

    @property
    def older_beside(self) -> Side | None:
        """The older version that lies beside a later one of the same patch."""
        a, b = self.choice.a, self.choice.b
        if a is None or b is None or a.patch is None or b.patch is None or b.version is None:
            return None
        return b if a.patch.id == b.patch.id and not b.latest else None

    def go_back(self) -> None:
        """The older version that lies beside its patch becomes the latest again, as a new one equal to it."""
        older = self.older_beside
        if older is not None and older.patch is not None and older.version is not None:
            self.end_compare()
            self.revert(older.patch.id, older.version.id, older.version.number)

    def match_panel(self, on: bool) -> None:
        """Let the panel lead the hand back to A, or stop."""
        a = self.choice.a
        if a is not None:
            self._set(Choice(a, None, self.choice.chart, turning=on))

    def step_version(self, step: int) -> None:
        """The next older (-1) or newer (+1) version of A as B."""
        a = self.choice.a
        if a is None or not a.versions:
            return
        ids = [one.id for one in a.versions]
        shown = self.choice.b
        at = len(ids) - 1
        if shown is not None and shown.version is not None and shown.version.id in ids:
            at = ids.index(shown.version.id)
        wanted = min(max(at + step, 0), len(ids) - 1)
        if a.patch is not None:
            if a.version is not None and ids[wanted] == a.version.id:
                self.end_compare()
            else:
                self.choose_b(a.patch.id, ids[wanted])

    def _with_a(self, side: Side) -> Choice:
        return Choice(side, None, self.instruments.chart(side.content.chart, side.content.revision))

    def _beside(self, choice: Choice, side: Side) -> Choice:
        odd, laid = "", None
        if choice.chart is not None and choice.a is not None:
            if side.content.chart != choice.chart.id:
                beside = quoted(choice.a.name)
                odd = f"{quoted(side.name)} belongs to another instrument and cannot be laid beside {beside}."
            elif side.content.revision != choice.chart.revision:
                try:
                    laid = self._by_revision(side.content, choice.chart)
                except Refused as reason:
                    odd = (
                        f"{quoted(side.name)} is kept by chart revision {side.content.revision}, "
                        f"{quoted(choice.a.name)} by revision {choice.chart.revision}. {reason} {reason.hint}"
                    )
        return Choice(choice.a, side, choice.chart, odd, laid)

    def _by_revision(self, content: Version, chart: Chart) -> Version:
        """A sound as another revision of its chart explains it; the later of the two knows how."""
        newest = self.instruments.chart(chart.id, max(content.revision, chart.revision))
        return carry(content, newest, chart.revision).version

    def _set(self, choice: Choice) -> None:
        self.choice = choice
        if choice.a is not None and choice.a.patch is not None:
            self.instruments.choose(choice.a.patch.instrument)
        self.chosen.emit()

    def _read_choice_again(self) -> None:
        """Names, tags, versions may be others now; a sound that is gone is no longer chosen."""
        a, b = self._again(self.choice.a), self._again(self.choice.b)
        if a is None:
            a, b = (b, None) if b is not None and b.patch is not None else (None, None)
        choice = Choice() if a is None else replace(self._with_a(a), turning=self.choice.turning)
        self.choice = choice if b is None else self._beside(choice, b)
        self.chosen.emit()

    def _again(self, side: Side | None) -> Side | None:
        if side is None or side.patch is None or side.version is None:
            return side
        try:
            fresh = self.side(side.patch.id, None if side.latest else side.version.id)
        except LibrarianError:
            return None
        return None if fresh.patch is None or fresh.patch.place == "trash" else fresh

    @property
    def standing_of_a(self) -> Standing | None:
        """The instrument that A belongs to."""
        a = self.choice.a
        if a is None or a.patch is None:
            return None
        return self.instruments.standings.get(a.patch.instrument)
