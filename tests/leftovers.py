"""`python -m tests.leftovers`: end every process that a run of tests left behind, and fail when there was one.

They are found by the mark that tests/run.sh puts into the environment (LIBRARIAN_TEST_RUN), which every child
inherits, so nothing else of this machine is touched.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

_MARK = "LIBRARIAN_TEST_RUN"
_LOOKS, _LOOK_S = 25, 0.02


def marked(mark: str, variable: str = _MARK) -> dict[int, str]:
    """Process ID -> command line of every living process with this mark, this one and its ancestors left out."""
    own = {os.getpid()}
    above = os.getppid()
    while above > 1:
        own.add(above)
        above = parent(above)
    found = {}
    needle = f"{variable}={mark}".encode()
    for place in Path("/proc").glob("[0-9]*"):
        pid = int(place.name)
        try:
            if pid not in own and needle in _environment(place).split(b"\0"):
                words = (place / "cmdline").read_bytes().rstrip(b"\0").split(b"\0")
                found[pid] = b" ".join(words).decode(errors="replace")
        except OSError:
            continue  # it has ended meanwhile, or belongs to somebody else
    return found


def _environment(place: Path) -> bytes:
    """A process that is just being started has none yet, but a program already, unlike one of the kernel's."""
    for _ in range(_LOOKS):
        found = (place / "environ").read_bytes()
        if found or not (place / "exe").exists():
            break
        time.sleep(_LOOK_S)
    return found


def parent(pid: int) -> int:
    """Process ID of the parent; 0 when there is no such process (any more)."""
    try:
        return int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])
    except OSError:
        return 0


def main(mark: str, patience_s: float = 8.0) -> int:
    """0 when nothing is left; otherwise name it, end it, 1. Processes that are just ending get `patience_s`."""
    give_up = time.monotonic() + patience_s
    while (left := marked(mark)) and time.monotonic() < give_up:
        time.sleep(0.1)
    for pid, command in left.items():
        print(f"left running by the tests, ended now: {pid} {command}")
        for number in (signal.SIGCONT, signal.SIGTERM):
            try:
                os.kill(pid, number)
            except ProcessLookupError:
                break
    if left:
        time.sleep(1)
        for pid in marked(mark):
            os.kill(pid, signal.SIGKILL)
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main(os.environ[_MARK]))
