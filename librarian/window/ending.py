"""How the window ends: when its changes are written; by Ctrl+C or a polite kill as if the person had closed it."""

from __future__ import annotations

import signal
import socket

from PySide6.QtCore import QObject, QSocketNotifier, QTimer
from PySide6.QtGui import QCloseEvent
from PySide6.QtWidgets import QApplication, QWidget

from librarian.errors import Cancelled
from librarian.window.desk.about import About
from librarian.window.desk.byhand import BY_HAND
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.desk.unfinished import not_closed_yet, unfinished

_BY_SIGNAL = "ended by a signal"


class EndWhenWritten(QObject):
    """Closing the window waits, in sight, until its changes are in the library. Closing it once more does not.

    On a slow disk, or while another program is writing, that may take a while; and a change that fails must be said.
    A captured sound that is not kept is said as well, once, before it is lost with the window. So is what is under way
    with an instrument and would be broken off; what was heard by hand is kept then.
    """

    def __init__(self, window: QWidget, desk: Desk) -> None:
        super().__init__(window)
        self._window, self._desk = window, desk
        self._wished = False
        self._warned: object = ()
        self._asked: tuple[About, ...] = ()
        desk.work.failed.connect(self._failed)
        desk.work.ended.connect(self._ended)
        desk.instruments.failed.connect(self._conversation_failed)

    def put_off(self, event: QCloseEvent) -> bool:
        """True when the window has to stay for now; it is closed when everything is written."""
        if self._wished:
            return self._put_off_for_captures(event)
        if self._put_off_for_conversations(event):
            return True
        heard = self._end_by_hand()
        if not heard and not self._desk.work.busy:
            return self._put_off_for_captures(event)
        self._wished = True
        self._desk.work.cancel()
        event.ignore()
        what = "What was heard is being kept" if heard else "The last changes are being written"
        self._desk.told.emit(Told(f"{what}; then the window closes.", "Close it once more, and it does not wait."))
        return True

    def _put_off_for_conversations(self, event: QCloseEvent) -> bool:
        going = unfinished(self._desk.instruments)
        # Each is asked about once, and not those that another close has asked about: by themselves, not by what equals.
        new = [one for one in going if all(one.about is not each for each in self._asked)]
        if not new or _nobody_answers():
            return False
        self._asked = tuple(one.about for one in going)
        event.ignore()
        self._desk.told.emit(not_closed_yet(going))
        return True

    def _end_by_hand(self) -> bool:
        """End captures by hand with what they heard, as the person would; True when one has heard anything."""
        instruments = self._desk.instruments
        heard = [each for each in instruments.standings if instruments.heard_by_hand(each)]
        for each in heard:
            instruments.enough(each)
        return bool(heard)

    def _put_off_for_captures(self, event: QCloseEvent) -> bool:
        held = self._desk.captures.held
        if held == self._warned or not held:
            return False
        self._warned, self._wished = held, False
        event.ignore()
        self._desk.told.emit(Told("The window is not closed yet.", "Close it once more, and it is.", trouble=True))
        return True

    def _failed(self, problem: Exception) -> None:
        if not isinstance(problem, Cancelled):
            self._wished = False

    def _conversation_failed(self, _instrument: int, what: str, _problem: Exception) -> None:
        # What was heard is not coming; the chain says why, and the person may want to see it.
        if what == BY_HAND:
            self._wished = False

    def _ended(self, _job: object) -> None:
        if not self._wished:
            return
        if self._desk.work.busy:
            self._desk.work.cancel()  # the next long one, if there is another
        elif not any(map(self._desk.instruments.heard_by_hand, self._desk.instruments.standings)):
            QTimer.singleShot(0, self, self._window.close)


def _nobody_answers() -> bool:
    """True where the computer ends the program, or its person with it: a question would only hold that up."""
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    return bool(application.property(_BY_SIGNAL)) or application.isSavingSession()


class EndBySignal(QObject):
    """Lives as long as the application's event loop.

    Python runs signal handlers only between its own instructions, and Qt's loop may run none for hours; so the signal
    arrives as a byte on a socket, which wakes the loop.
    """

    def __init__(self, application: QApplication) -> None:
        super().__init__(application)
        self._application = application
        self._reading, self._writing = socket.socketpair()
        for end in (self._reading, self._writing):
            end.setblocking(False)
        self._notifier = QSocketNotifier(self._reading.fileno(), QSocketNotifier.Type.Read, self)
        self._notifier.activated.connect(self._end)
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: None)
        signal.set_wakeup_fd(self._writing.fileno())

    def stop(self) -> None:
        """Back to how it was before."""
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        self._notifier.setEnabled(False)
        self._reading.close()
        self._writing.close()

    def _end(self) -> None:
        self._reading.recv(64)
        self._application.setProperty(_BY_SIGNAL, True)
        self._application.closeAllWindows()
        self._application.setProperty(_BY_SIGNAL, False)
        # With none in sight nothing closes that would end the loop; one that has changes to write does it later.
        if not any(window.isVisible() for window in self._application.topLevelWidgets()):
            self._application.quit()
