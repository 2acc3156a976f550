"""A picture of the window at work, made by the program itself: a sound is recalled and proved, then knobs turn."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QApplication

from librarian.transfer.connections import Connections, is_embedded
from librarian.window.main import MainWindow

_LOOK_MS = 50
_PATIENCE_MS = 30_000
_SETTLE_MS = 700


@dataclass(frozen=True)
class Shot:
    """Where the picture goes, and whether two sounds are compared in it."""

    path: Path
    compare: bool = False


class Picture(QObject):
    """Plays a short scene through the window's own commands, grabs it, and ends the application.

    `problem`: why there is no picture, or empty.
    """

    def __init__(self, window: MainWindow, connections: Connections, shot: Shot) -> None:
        super().__init__(window)
        self._window, self._connections, self._shot = window, connections, shot
        self._waited = 0
        self._steps = [self._first_sound, self._recalled, self._turned, self._compared, self._grab]
        self.problem = ""
        self._timer = QTimer(self)
        self._timer.setInterval(_LOOK_MS)
        self._timer.timeout.connect(self._look)

    def begin(self) -> None:
        """Start the scene."""
        self._timer.start()

    def _look(self) -> None:
        self._waited += _LOOK_MS
        if self._waited > _PATIENCE_MS:
            self._end(f"The window did not get as far as its picture: {self._window.chain_state().sentence}")
        elif self._steps[0]():
            self._steps.pop(0)

    def _end(self, problem: str) -> None:
        self.problem = problem
        self._timer.stop()
        QApplication.exit(0)

    def _first_sound(self) -> bool:
        desk = self._window.desk
        if desk.found is None or desk.work.busy:  # the demo's sounds may still be on their way
            return False
        if not len(desk.found):
            if desk.library.total():
                return False  # kept, and not listed yet
            self._steps = [self._grab]
            return False
        standings = desk.instruments.standings
        if not any(standing.ready for standing in standings.values()):
            return False
        ready = {name for name, standing in standings.items() if standing.ready}
        rows = desk.library.rows(list(desk.found.ids[:200]))
        kept = [row for row in rows if row.instrument in ready and not row.unknown]
        row = max(kept, key=lambda one: (one.versions, -one.id), default=None)
        if row is None:
            return False
        self._window.areas.collection.list.select_id(row.id)
        desk.choose_a(row.id)
        desk.recall()
        return True

    def _recalled(self) -> bool:
        a = self._window.desk.choice.a
        standing = self._window.desk.standing_of_a
        if a is None or standing is None or standing.transfer or standing.in_it is None:
            return False
        if not is_embedded(standing.row):
            return True
        stand_in = self._connections.stand_in(standing.row, standing.chart)
        turned = [name for name in standing.chart.sound_ids if standing.chart.parameters[name].kind == "continuous"]
        now = self._connections_clock()
        for name in turned[len(turned) // 3 :: max(1, len(turned) // 6)][:3]:
            parameter = standing.chart.parameters[name]
            aim = parameter.low + round((parameter.high - parameter.low) * 0.4)
            away = aim if abs(aim - stand_in.sound[name]) * 10 > parameter.high - parameter.low else parameter.high
            stand_in.turn(name, away, now)
        return True

    def _connections_clock(self) -> float:
        return self._connections.clock.now()

    def _turned(self) -> bool:
        standing = self._window.desk.standing_of_a
        if standing is None or not is_embedded(standing.row):
            return True
        return len(standing.now) >= 3

    def _compared(self) -> bool:
        if self._shot.compare:
            desk = self._window.desk
            a = desk.choice.a
            assert a is not None
            assert a.patch is not None
            assert desk.found is not None
            rows = desk.library.rows(list(desk.found.ids[:400]))
            other = next(
                (row for row in rows if row.instrument == a.patch.instrument and row.unknown and row.id != a.patch.id),
                next((row for row in rows if row.instrument == a.patch.instrument and row.id != a.patch.id), None),
            )
            if other is not None:
                desk.choose_b(other.id)
        self._settled = self._waited + _SETTLE_MS
        return True

    def _grab(self) -> bool:
        if self._waited < getattr(self, "_settled", self._waited):
            return False
        self._shot.path.parent.mkdir(parents=True, exist_ok=True)
        if not self._window.grab().save(str(self._shot.path)):
            self._end(f"The picture could not be written to {self._shot.path}.")
        else:
            self._end("")
        return False
