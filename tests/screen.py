"""A virtual X screen, for the few tests that need a real window system instead of Qt's offscreen one."""

from __future__ import annotations

import os
import shutil
import subprocess
from types import TracebackType
from typing import Self

from tests.jackd import bound


class VirtualScreen:
    """Xvfb on a display number that it chooses itself; `environment` puts a process on it."""

    def __init__(self, width: int = 1920, height: int = 1080) -> None:
        self._size = f"{width}x{height}x24"
        self._process: subprocess.Popen[str] | None = None
        self._display = ""

    @property
    def environment(self) -> dict[str, str]:
        """What a process needs in its environment to appear on this screen."""
        return {"DISPLAY": self._display, "WAYLAND_DISPLAY": "", "QT_QPA_PLATFORM": "xcb"}

    def __enter__(self) -> Self:
        program = shutil.which("Xvfb")
        if program is None:
            raise RuntimeError(
                "Xvfb is missing, and this test needs a screen. "
                "Install it with: apt-get install --no-install-recommends xvfb xauth"
            )
        reading, writing = os.pipe()
        command = [program, "-displayfd", str(writing), "-screen", "0", self._size, "-nolisten", "tcp", "-noreset"]
        self._process = subprocess.Popen(
            bound(command), pass_fds=[writing], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
        )
        os.close(writing)
        with os.fdopen(reading) as number:
            said = number.readline().strip()  # comes when the screen is ready, or ends empty when Xvfb gave up
        if not said:
            complaint = self._process.communicate(timeout=10)[1]
            raise RuntimeError(f"Xvfb did not start. It said:\n{complaint}")
        self._display = f":{said}"
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.communicate(timeout=10)
