"""How the window ends: when its changes are written; by Ctrl+C or a polite kill as if the person had closed it."""

from __future__ import annotations

import signal
import socket

from PySide6.QtCore import QObject, QSocketNotifier, QTimer
from PySide6.QtGui import QCloseEvent
from PySide6.QtWidgets import QApplication, QWidget

from librarian.errors import Cancelled
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told


class EndWhenWritten(QObject):
    """Closing the window waits, in sight, until its changes are in the library. Closing it once more does not.

    On a slow disk, or while another program is writing, that may take a while; and a change that fails must be said.
    A captured sound that is not kept is said as well, once, before it is lost with the window.
    """

    def __init__(self, window: QWidget, desk: Desk) -> None:
        super().__init__(window)
        self._window, self._desk = window, desk
        self._wished = False
        self._warned: object = ()
        desk.work.failed.connect(self._failed)
        desk.work.ended.connect(self._ended)

    def put_off(self, event: QCloseEvent) -> bool:
        """True when the window has to stay for now; it is closed when everything is written."""
        if self._wished or not self._desk.work.busy:
            return self._put_off_for_captures(event)
        self._wished = True
        self._desk.work.cancel()
        event.ignore()
        self._desk.told.emit(Told("The last changes are being written; then the window closes.",
                                  "Close it once more, and it does not wait."))
        return True

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

    def _ended(self, _job: object) -> None:
        if not self._wished:
            return
        if self._desk.work.busy:
            self._desk.work.cancel()  # the next long one, if there is another
        else:
            QTimer.singleShot(0, self, self._window.close)


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
        self._application.closeAllWindows()
        # With none in sight nothing closes that would end the loop; one that has changes to write does it later.
        if not any(window.isVisible() for window in self._application.topLevelWidgets()):
            self._application.quit()
