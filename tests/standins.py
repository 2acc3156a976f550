"""A simulated instrument in a process of its own, on real (JACK) ports: what a test needs to hold one by the hand."""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from tests.jackd import bound


class StandInProcess:
    """`python -m librarian.standin CHART --name PORT`, spoken to by lines and heard as JSON.

    `chart`: path of a chart file. `port`: how the name of its virtual ports begins; the tests' process ID follows,
    because clients of one name disturb each other even on different JACK servers (their sockets lie in one folder),
    and another copy of the tests may be running. `options`: more words of the command line.
    `asked` answers are the road beside MIDI by which a test learns what the instrument really has.
    """

    def __init__(self, chart: Path, port: str, options: Sequence[str] = (), *, timeout_s: float = 20.0) -> None:
        self.port = f"{port} {os.getpid()}"
        self._timeout_s = timeout_s
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the process
        self._process = subprocess.Popen(
            bound([sys.executable, "-m", "librarian.standin", str(chart), "--name", self.port, *options]),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._complaints,
            text=True,
            env=dict(os.environ),
        )
        self._lines: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read, name=f"reads {self.port}", daemon=True)
        self._reader.start()
        try:
            self.ready = self._reply("the start")
        except BaseException:
            self.close()
            raise

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._lines.put(line)
        self._lines.put("")

    def _reply(self, request: str) -> dict[str, Any]:
        try:
            line = self._lines.get(timeout=self._timeout_s)
        except queue.Empty:
            line = ""
        if not line:
            self._complaints.seek(0)
            said = self._complaints.read().decode(errors="replace")
            raise AssertionError(f"the stand-in {self.port} did not answer {request}. It said:\n{said}")
        answer = json.loads(line)
        assert isinstance(answer, dict), line
        return answer

    def ask(self, line: str) -> dict[str, Any]:
        """Send one line and return its reply."""
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        return self._reply(line)

    def turn(self, parameter: str, value: int) -> dict[str, Any]:
        """Move a control by hand: panel and sound follow, and its controller is sent."""
        return self.ask(f"turn {parameter} {value}")

    def state(self) -> dict[str, Any]:
        """What the instrument holds, told without MIDI."""
        return self.ask("state")

    @property
    def running(self) -> bool:
        """False once it ended, by itself or not."""
        return self._process.poll() is None

    @property
    def pid(self) -> int:
        """For tests that stop or kill it on purpose."""
        return self._process.pid

    def close(self) -> None:
        """End it (end of its input), by force after a while; safe to call twice."""
        if self._process.poll() is None:
            assert self._process.stdin is not None
            try:
                self._process.stdin.close()
                self._process.wait(timeout=5)
            except (OSError, subprocess.TimeoutExpired):
                self._process.kill()
                self._process.wait()
        if self._process.stdin is not None:
            # What could not be written any more must not be tried again when the file is collected.
            with contextlib.suppress(OSError):
                self._process.stdin.close()
        self._reader.join(timeout=5)
        if self._process.stdout is not None:
            self._process.stdout.close()
        self._complaints.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
