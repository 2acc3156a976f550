"""The two pipes to one port process and the threads that serve them, so that nobody else ever waits for it."""

from __future__ import annotations

import os
import queue
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import IO

import librarian
from librarian.wire.frames import Frame, read_frame

_SAID_LINES = 200


class ChildLink:
    """One port process. `on_frame` is called on a thread of its own, for each frame in order.

    It has to be made by a thread that lives as long as the process shall: Linux ends it with that thread.
    """

    def __init__(self, on_frame: Callable[[Frame], None]) -> None:
        self._on_frame = on_frame
        self._orders: queue.SimpleQueue[Frame | None] = queue.SimpleQueue()
        self._said: deque[str] = deque(maxlen=_SAID_LINES)
        self.ended = threading.Event()
        # -P: a folder where somebody happens to work must not lend us its modules.
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "librarian.wire.portchild", str(os.getpid())],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": _python_path()},
        )
        pipes = (self._process.stdin, self._process.stdout, self._process.stderr)
        work = (self._write, self._read, self._listen)
        names = ("orders to", "frames of", "words of")
        self._threads = [
            threading.Thread(target=target, args=(pipe,), name=f"{what} the port process")
            for target, pipe, what in zip(work, pipes, names, strict=True)
        ]
        for thread in self._threads:
            thread.daemon = True
            thread.start()

    @property
    def pid(self) -> int:
        """The process ID."""
        return self._process.pid

    @property
    def said(self) -> str:
        """The last lines of what the drivers printed."""
        return "\n".join(self._said)

    def send(self, order: Frame) -> None:
        """Queue an order; returns at once, also when the process does not read."""
        self._orders.put(order)

    def leave(self, patience_s: float) -> None:
        """Let it end by itself; end it when it has not after `patience_s` seconds."""
        self._orders.put(None)
        try:
            self._process.wait(patience_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
        self._join()

    def kill(self) -> None:
        """End it now."""
        self._process.kill()
        self._orders.put(None)
        self._join()

    def _join(self) -> None:
        self._process.wait()
        for thread in self._threads:
            if thread is not threading.current_thread():
                thread.join()

    def _write(self, pipe: IO[bytes]) -> None:
        try:
            with pipe:
                while (order := self._orders.get()) is not None:
                    data = order.to_bytes()
                    pipe.write(data)
                    pipe.flush()
        except (BrokenPipeError, OSError):
            pass  # the process has ended; the reading thread says so

    def _read(self, pipe: IO[bytes]) -> None:
        with pipe:
            try:
                while (frame := read_frame(pipe)) is not None:
                    self._on_frame(frame)
            finally:
                self.ended.set()

    def _listen(self, pipe: IO[bytes]) -> None:
        with pipe:
            for line in pipe:
                self._said.append(line.decode(errors="replace").rstrip())


def _python_path() -> str:
    """The child has to find the same `librarian` as this process, installed or not."""
    root = str(Path(librarian.__file__).resolve().parents[1])
    inherited = os.environ.get("PYTHONPATH")
    return os.pathsep.join([root, inherited] if inherited else [root])
