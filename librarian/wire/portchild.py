"""The port process: `python -P -m librarian.wire.portchild PARENT`, started by `process.PortProcess` alone.

It alone touches MIDI drivers. One thread reads frames from standard input; one, the pump, does everything else and
answers pings, so that the parent notices a driver that hangs, ends this process and starts another. Standard output
carries frames; whatever the drivers print goes to standard error, which the parent reads too.
"""

from __future__ import annotations

import ctypes
import os
import queue
import signal
import sys
import threading
from typing import BinaryIO

from librarian.wire.frames import Frame, Kind, read_frame, told

_DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG of <linux/prctl.h>


def main() -> None:
    """Serve until standard input ends. `PARENT`: the process ID of the program that started this one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the terminal's Ctrl-C is the program's to answer, not ours
    _end_with(int(sys.argv[1]))
    frames_out = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # a library that prints must not break the frames
    frames_out.write(Frame(Kind.PONG).to_bytes())
    orders: queue.SimpleQueue[Frame | None] = queue.SimpleQueue()
    threading.Thread(target=_read, args=(sys.stdin.buffer, orders), daemon=True).start()
    try:
        from librarian.wire.portpump import Pump
    except ImportError as error:  # on a bare machine: libasound is missing
        _explain(f"the MIDI library could not be loaded ({error})", orders, frames_out)
    else:
        Pump(orders, frames_out).run()
    os._exit(0)  # the reading thread may wait for a pipe for ever


def _end_with(parent: int) -> None:
    """The end of standard input ends this process, but only while the interpreter runs: a driver may hold its lock."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_DIE_WITH_PARENT, signal.SIGKILL)
    if os.getppid() != parent:  # it ended before this was set up
        os._exit(0)


def _read(frames_in: BinaryIO, orders: queue.SimpleQueue[Frame | None]) -> None:
    while (frame := read_frame(frames_in)) is not None:
        orders.put(frame)
    orders.put(None)


def _explain(trouble: str, orders: queue.SimpleQueue[Frame | None], frames_out: BinaryIO) -> None:
    """Serve without a driver: there are no ports, and this is why."""
    frames_out.write(told(Kind.PORTS, {"apis": [], "troubles": [trouble], "ports": []}).to_bytes())
    while (frame := orders.get()) is not None:
        if frame.kind is Kind.PING:
            frames_out.write(Frame(Kind.PONG).to_bytes())
        elif frame.kind in (Kind.OPEN, Kind.OPEN_VIRTUAL):
            refusal = {"kind": "no system", "sentence": f"No port can be opened: {trouble}."}
            frames_out.write(told(Kind.REFUSED, refusal, frame.handle).to_bytes())


if __name__ == "__main__":
    main()
