"""Questions to the library on a thread of its own: only the newest of a kind counts, older answers are dropped."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, Signal

from librarian.errors import LibrarianError

_LOG = logging.getLogger(__name__)


class Asker(QObject):
    """Runs the newest question handed in; says `answered(number, result)` or `failed(number, error)`.

    A question that was overtaken before it ran is never asked; an answer that was overtaken while it ran is dropped.
    """

    answered = Signal(int, object)
    failed = Signal(int, object)
    _ready = Signal(int, object, bool)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._condition = threading.Condition()
        self._newest = 0
        self._waiting: tuple[int, Callable[[], Any]] | None = None
        self._closing = False
        self._ready.connect(self._deliver)
        self._thread = threading.Thread(target=self._live, name="library questions", daemon=True)
        self._thread.start()

    def ask(self, question: Callable[[], Any]) -> int:
        """Put this question in place of any that waits; returns its number."""
        with self._condition:
            self._newest += 1
            self._waiting = (self._newest, question)
            self._condition.notify()
            return self._newest

    def close(self) -> None:
        """End the thread after the question that runs."""
        with self._condition:
            self._closing = True
            self._condition.notify()
        self._thread.join(5.0)

    def _live(self) -> None:
        while True:
            with self._condition:
                while self._waiting is None and not self._closing:
                    self._condition.wait()
                if self._closing:
                    return
                assert self._waiting is not None
                number, question = self._waiting
                self._waiting = None
            try:
                result = question()
            except LibrarianError as problem:
                self._ready.emit(number, problem, False)
            except Exception as problem:  # noqa: BLE001 - shown and logged, the thread goes on
                _LOG.exception("a question to the library failed")
                fault = LibrarianError(f"A question to the library failed by a fault of this program: {problem}")
                self._ready.emit(number, fault, False)
            else:
                self._ready.emit(number, result, True)

    def _deliver(self, number: int, result: object, good: bool) -> None:
        if number != self._newest:
            return
        (self.answered if good else self.failed).emit(number, result)
