"""A private JACK server with the dummy driver, for tests and benches: no sound device, no effect on the person's own.

`with JackServer() as jack:` and give `jack.environment` to the processes that shall be its clients.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import IO, Self

# JACK keeps eight servers of one user in a list, and one that was killed stays in it until its name is used again. So
# names are used again, and two places of the list are left to the person's own servers.
_NAMES = 6
_PROBE = "import os, rtmidi; rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=f'probe-{os.getpid()}').delete()"


def bound(command: Sequence[str]) -> list[str]:
    """The command, started so that Linux ends it (SIGTERM) when the thread that started it ends, however it ends.

    A test that is killed cannot clean up; its children would stay. To be used from the main thread.
    """
    return ["setpriv", "--pdeathsig", "TERM", "--", *command] if sys.platform == "linux" else list(command)


class JackServer:
    """`jackd` under a name of its own; `environment` makes every JACK client of a process use exactly this server."""

    def __init__(self, *, start_timeout_s: float = 20.0, period: int = 256) -> None:
        """`period`: frames of 1/48,000 s between two looks of the server at its ports."""
        self.name = ""
        self._period = period
        self._start_timeout_s = start_timeout_s
        self._process: subprocess.Popen[bytes] | None = None
        self._memory: list[Path] = []
        self._log: IO[bytes] | None = None

    @property
    def environment(self) -> dict[str, str]:
        """What a process must have in its environment so that its JACK clients find this server and no other."""
        self._started()
        return {"JACK_DEFAULT_SERVER": self.name, "JACK_NO_START_SERVER": "1"}

    @property
    def pid(self) -> int:
        """Process ID of `jackd`, for tests that stop or kill the server on purpose."""
        return self._started().pid

    @property
    def running(self) -> bool:
        """True from `start` until `stop`, as long as `jackd` lives."""
        return self._process is not None and self._process.poll() is None

    def _started(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            raise RuntimeError("the JACK server was not started")
        return self._process

    def start(self) -> Self:
        """Start `jackd` and return when a client was able to connect. Raises `RuntimeError` with jackd's own words."""
        program = shutil.which("jackd")
        if program is None:
            raise RuntimeError(
                "jackd is missing, and these tests need real MIDI ports. "
                "Install it with: apt-get install --no-install-recommends jackd2"
            )
        said = ""
        for number in range(_NAMES):
            self.name = f"librarian-tests-{(os.getpid() + number) % _NAMES}"
            if self._start(program):
                return self
            said = self._said()
            self.stop()
        free = shutil.disk_usage("/dev/shm").free // 2**20
        raise RuntimeError(
            f"jackd did not start. It takes some 42 MB of /dev/shm, where {free} MB are free. It said:\n{said}"
        )

    def _start(self, program: str) -> bool:
        """False when jackd ended by itself (somebody else's server has the name) or nobody could connect in time."""
        self._log = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the server
        # -r no realtime, -m no locked memory, --port-max few ports: containers have 64 MB of shared memory.
        options = ["-r", "-m", "--port-max", "128", "-d", "dummy", "-r", "48000", "-p", str(self._period)]
        self._process = subprocess.Popen(
            bound([program, "-n", self.name, *options]),
            stdin=subprocess.DEVNULL,
            stdout=self._log,
            stderr=subprocess.STDOUT,
            env={**os.environ, "JACK_NO_AUDIO_RESERVATION": "1"},
        )
        give_up = time.monotonic() + self._start_timeout_s
        while self.running and time.monotonic() < give_up:
            # Memory of its own proves that the name is this server's; only then is a client's word about it worth much.
            self._memory = self._shared_memory()
            if self._memory and self._answers():
                return True
            time.sleep(0.05)
        return False

    def _answers(self) -> bool:
        probe = subprocess.run(
            [sys.executable, "-c", _PROBE],
            env={**os.environ, **self.environment},
            capture_output=True,
            timeout=self._start_timeout_s,
            check=False,
        )
        return probe.returncode == 0

    def _said(self) -> str:
        if self._log is None:
            return ""
        self._log.seek(0)
        return self._log.read().decode(errors="replace")

    def stop(self) -> None:
        """End the server (politely, then not) and remove what it left in shared memory; safe to call twice."""
        if self._process is not None:
            memory = self._memory or self._shared_memory()
            # A server that a test has stopped (SIGSTOP) must be woken up to be able to end.
            for number in (signal.SIGCONT, signal.SIGTERM):
                if self._process.poll() is None:
                    self._process.send_signal(number)
            try:
                # jackd waits 5 s and longer for clients that died without closing; nobody needs its patience here.
                self._process.wait(timeout=1)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()
            self._process = None
            self._memory = []
            if memory:  # without any, the name was another server's, and so is what carries it
                for left in [*memory, *Path("/dev/shm").glob(f"jack*{self.name}*")]:  # only when it was killed
                    left.unlink(missing_ok=True)
        if self._log is not None:
            self._log.close()
            self._log = None

    def kill(self) -> None:
        """The server dies as if it had crashed; what it leaves behind is removed, so that it can start again."""
        process, memory = self._started(), self._memory
        process.kill()
        process.wait()
        self._memory = memory
        self.stop()

    def freeze(self) -> None:
        """The server stops answering, as one does whose machine is suspended or whose driver hangs."""
        os.kill(self.pid, signal.SIGSTOP)

    def thaw(self) -> None:
        """It goes on."""
        os.kill(self.pid, signal.SIGCONT)

    def _shared_memory(self) -> list[Path]:
        """The segments of this server (their names do not carry its name), without the registry that all share."""
        try:
            mapped = Path(f"/proc/{self.pid}/maps").read_text().split()
        except OSError:
            return []
        return [Path(word) for word in set(mapped) if re.fullmatch(r"/dev/shm/jack-\d+-\d+", word)]

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
