"""The thread that hears the instrument and learns: the window gets pictures of what is known, and never waits."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from functools import partial
from typing import Any, Protocol

from PySide6.QtCore import QObject, Signal

from librarian.errors import LibrarianError
from librarian.messages import Message
from librarian.wire.cable import Cable

_LOG = logging.getLogger(__name__)
_LOOK_S = 0.05
_END_S = 10.0


class Subject(Protocol):
    """What is being learnt. Everything is called on the listening thread."""

    def take(self, message: Message) -> bool:
        """One message that came; True when there is something new to show. Raises LibrarianError."""
        ...

    def rest(self, now: float) -> bool:
        """Called again and again: what has come to its end by now; True when there is something new to show."""
        ...

    def view(self) -> Any:
        """What to show now: frozen, handed to the window's thread. Raises LibrarianError."""
        ...

    @property
    def busy(self) -> str:
        """What to say while `view` is worked out, "" when that is quick."""
        ...


class Listening(QObject):
    """One cable and one subject. `opened`: the ports are open. `told` (view). `thinking` (sentence) before a view that
    takes long. `refused` (LibrarianError): something cannot be, the rest goes on. `lost` (LibrarianError): it ended.
    `answered` (then, result) hands the result of `do` to the window's thread.
    """

    opened = Signal()
    told = Signal(object)
    thinking = Signal(str)
    refused = Signal(object)
    lost = Signal(object)
    _result = Signal(object, object)

    def __init__(self, open_cable: Callable[[], Cable], subject: Subject, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._open = open_cable
        self._subject = subject
        self._orders: queue.SimpleQueue[tuple[Callable[[Cable | None], Any], Callable[[Any], object] | None]] = (
            queue.SimpleQueue()
        )
        self._ended = threading.Event()
        self._result.connect(self._hand_over)
        self._thread = threading.Thread(target=self._live, name="learning", daemon=True)

    def start(self) -> None:
        """Open the ports and listen."""
        self._thread.start()

    def do(self, order: Callable[[Cable | None], Any], then: Callable[[Any], object] | None = None) -> None:
        """Have something done on the listening thread; `then` gets the result on the window's. The cable is None once
        it is lost."""
        self._orders.put((order, then))

    def change(self, subject: Subject) -> None:
        """Learn something else on the same cable."""

        def other(_cable: Cable | None) -> None:
            self._subject = subject

        self.do(other)

    def close(self) -> None:
        """Stop listening and close the ports. What is being worked out ends first."""
        self._ended.set()
        if self._thread.is_alive():
            self._thread.join(_END_S)

    # -- on its own thread -----------------------------------------------------------------------------------------

    def _live(self) -> None:
        cable: Cable | None = None
        try:
            cable = self._open()
            self._say(self.opened)
            self._show()
            while not self._ended.is_set():
                self._listen(cable)
        except Exception as problem:  # noqa: BLE001 - said, and logged when it is a fault of this program
            self._lost(problem)
        finally:
            if cable is not None:
                cable.close()
        while not self._ended.is_set():
            # The cable is gone; what was learnt can still be named and written.
            self._ended.wait(_LOOK_S)
            if self._orders_done(None):
                self._show()

    def _lost(self, problem: Exception) -> None:
        if not isinstance(problem, LibrarianError):
            _LOG.error("learning failed", exc_info=problem)
            problem = LibrarianError(f"Learning ended by a fault of this program: {problem}", "The log says more.")
        self._say(self.lost, problem)

    def _listen(self, cable: Cable) -> None:
        """A twentieth of a second: hear what comes, do what was ordered, show what is new. Raises CableLost."""
        new = False
        until = cable.clock.now() + _LOOK_S
        while (left := until - cable.clock.now()) > 0 and not self._ended.is_set():
            arrival = cable.receive(left)
            if isinstance(arrival, Message):
                new = self._guarded(partial(self._subject.take, arrival)) or new
        new = self._guarded(lambda: self._subject.rest(cable.clock.now())) or new
        if self._orders_done(cable) or new:
            self._show()

    def _orders_done(self, cable: Cable | None) -> bool:
        """Do what was ordered; True when something was."""
        some = False
        while not self._orders.empty():
            order, then = self._orders.get()
            done, result = self._tried(partial(order, cable))
            if done and then is not None:
                self._say(self._result, then, result)
            some = True
        return some

    def _show(self) -> None:
        busy = self._subject.busy
        if busy:
            self._say(self.thinking, busy)
        done, view = self._tried(self._subject.view)
        if done:
            self._say(self.told, view)

    def _guarded(self, act: Callable[[], bool]) -> bool:
        done, result = self._tried(act)
        return done and bool(result)

    def _tried(self, act: Callable[[], Any]) -> tuple[bool, Any]:
        try:
            return True, act()
        except LibrarianError as problem:
            self._say(self.refused, problem)
            return False, None

    def _say(self, signal: Any, *words: Any) -> None:
        if not self._ended.is_set():
            signal.emit(*words)

    # -- on the window's thread ------------------------------------------------------------------------------------

    def _hand_over(self, then: Callable[[Any], object], result: Any) -> None:
        if not self._ended.is_set():
            then(result)
