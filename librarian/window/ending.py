"""Ctrl+C in the terminal, or a polite kill, ends the window as if the person had closed it."""

from __future__ import annotations

import signal
import socket

from PySide6.QtCore import QObject, QSocketNotifier
from PySide6.QtWidgets import QApplication


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
        self._application.quit()
