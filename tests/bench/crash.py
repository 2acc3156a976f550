"""A library whose program is killed again and again.

    python -m tests.bench.crash --kills 200 --seed 1

A child keeps, imports .syx files, edits, merges, undoes, redoes, empties the trash, backs up and restores, at random
(`crash_child.py`). Before each intent it does the same to a copy and tells on a pipe what the library will look like;
afterwards it acknowledges. It is killed (SIGKILL) at random moments, also while it opens the library. Then the
library must be whole and look exactly like after the last acknowledged intent, or like after the one that was under
way: nothing between, nothing older; and every backup must be whole. In some rounds the disk is full (a small file
system in memory; where that is not allowed, files may not grow), in some a schema change is under way instead.

`acknowledged`: intents; `lost`: acknowledged ones that were gone; `half`: states that no intent leads to; `corrupt`:
files that did not open or whose check found something; `refused`: intents that a full disk turned down with a sentence;
`small_disk`: 1 when the full disk was a file system of its own.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from librarian.collection import Library
from librarian.errors import LibrarianError
from tests.bench import crash_child
from tests.bench.crash_disk import SmallDisk, narrowing, small_disk, wide

MOST_INTENTS = 6
#: Of 16 rounds: these kill a schema change, a child on a full disk, a child that is opening the library.
MIGRATING, FULL, OPENING = {7, 15}, {3, 10}, {5}
#: A full disk leaves at most so many bytes for an intent.
LITTLE_ROOM = 200_000


@dataclass
class Tally:
    """What happened in all rounds."""

    acknowledged: int = 0
    lost: int = 0
    half: int = 0
    corrupt: int = 0
    refused: int = 0
    migrations: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    killed_in: Counter[str] = field(default_factory=Counter)

    def complain(self, kind: str, sentence: str) -> None:
        """Count and show what must never happen."""
        setattr(self, kind, getattr(self, kind) + 1)
        print(f"{kind.upper()}: {sentence}", flush=True)


def killed(
    child: Callable[[int], None], begun: int, luck: random.Random, delay_s: float = 0.05
) -> list[dict[str, Any]]:
    """Fork, wait until it has begun so many intents, kill it some way through the last one; what it said.

    With no intent to wait for it is killed within `delay_s` of its start.
    """
    reading, writing = os.pipe()
    number = os.fork()
    if number == 0:
        os.close(reading)
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        try:
            child(writing)
        except BaseException as error:  # noqa: BLE001 - a child must not go on as a second parent
            crash_child.tell(writing, failed=f"{type(error).__name__}: {error}")
        os._exit(1)
    os.close(writing)
    said = b""
    deadline = time.monotonic() + luck.random() * delay_s if not begun else None
    with os.fdopen(reading, "rb", buffering=0) as pipe:
        os.set_blocking(pipe.fileno(), False)
        while True:
            said += pipe.read() or b""
            if deadline is None and said.count(b'"begin"') >= begun and said.endswith(b"\n"):
                took = json.loads(said.splitlines()[-1]).get("took", 0.01)
                deadline = time.monotonic() + luck.random() * 1.2 * took
            gone = os.waitpid(number, os.WNOHANG)[0] != 0
            if gone or (deadline is not None and time.monotonic() >= deadline):
                break
            time.sleep(0.0003)
        if not gone:
            os.kill(number, signal.SIGKILL)
            os.waitpid(number, 0)
        while piece := pipe.read():
            said += piece
    return [json.loads(line) for line in said.split(b"\n") if line.endswith(b"}")]


def judge(path: Path, before: str, said: list[dict[str, Any]], tally: Tally) -> str:
    """Compare what is there with what was said, and with what was there `before`; what is there now."""
    acknowledged, under_way, begun, backup = before, None, "opening", None
    earlier = {before}
    for line in said:
        if "failed" in line:
            tally.complain("corrupt", line["failed"])
        if "ready" in line and line["ready"] != before:
            tally.complain("lost", "opened again, the library looked different")
        if "begin" in line:
            under_way, begun, backup = line["becomes"], line["begin"], None
        if "done" in line or "refused" in line:
            acknowledged = line["is_now"]
            earlier.add(acknowledged)
            tally.refused += "refused" in line
            tally.acknowledged += "done" in line
            tally.kinds[line.get("done") or "refused"] += 1
            if "done" in line and acknowledged != under_way:
                tally.complain("half", f"“{line['done']}” did something else than on a copy")
            under_way, begun, backup = None, "nothing", line.get("backup")
    tally.killed_in[begun] += 1
    try:
        with Library.open(path) as library:
            found, now = library.check(), crash_child.look(library)
            copies = library.backups()
    except LibrarianError as problem:
        tally.complain("corrupt", str(problem))
        return before
    for sentence in found:
        tally.complain("corrupt", sentence)
    if now not in {acknowledged, under_way}:
        tally.complain("lost" if now in earlier else "half", f"killed in {begun}")
    files = sorted(path.with_name(f"{path.stem} backups").glob("*.sqlite"))
    for file in files:
        if not whole(file):
            tally.complain("corrupt", f"the backup {file.name}")
    if len(copies) != len(files):
        tally.complain("half", f"{len(files)} backups, {len(copies)} of them can be read")
    if backup is not None and Path(backup) not in files:
        tally.complain("lost", f"the backup {backup}")
    return now


def whole(path: Path) -> bool:
    """Pages and references, judged by SQLite alone."""
    plain = sqlite3.connect(path)
    try:
        said = plain.execute("PRAGMA integrity_check").fetchone()[0]
        return said == "ok" and not plain.execute("PRAGMA foreign_key_check").fetchall()
    except sqlite3.DatabaseError:
        return False
    finally:
        plain.close()


def dump(path: Path) -> list[str]:
    """All tables and rows as text, the inside of the word index left out."""
    plain = sqlite3.connect(path)
    lines = [line for line in plain.iterdump() if "word_index" not in line]
    plain.close()
    return lines


def judge_migration(path: Path, before: list[str], said: list[dict[str, Any]], tally: Tally) -> None:
    """Either the old tables to the last row, or the new ones; and every copy made before is whole."""
    done = any("done" in line for line in said)
    for line in said:
        if "failed" in line:
            tally.complain("corrupt", line["failed"])
    tally.migrations += 1
    tally.acknowledged += done
    tally.killed_in["nothing" if done else "migrate"] += 1
    for file in path.parent.glob("*.sqlite"):
        if not whole(file):
            tally.complain("corrupt", f"a schema change: {file.name}")
            return
    plain = sqlite3.connect(path)
    revision = plain.execute("SELECT version_num FROM alembic_version").fetchone()[0]
    if revision == "next":
        for table in ("patch", "version", "received"):
            extra, rows = plain.execute(f"SELECT sum(extra = 7), count(*) FROM {table}").fetchone()
            if (extra or 0) != rows:
                tally.complain("half", f"a schema change of {table}")
        if not any(dump(file) == before for file in path.parent.glob("*before-upgrade*.sqlite")):
            tally.complain("lost", "the copy before a schema change")
    plain.close()
    if done and revision != "next":
        tally.complain("lost", "a finished schema change")
    if revision != "next" and dump(path) != before:
        tally.complain("half", "a schema change")


class Rounds:
    """All rounds on one library (and one on the small disk), one after the other."""

    def __init__(self, folder: Path, disk: SmallDisk | None, seed: int) -> None:
        self.folder, self.disk = folder, disk
        self.luck = random.Random(seed)
        self.tally = Tally()
        self.path = self._made(folder / "library.sqlite")
        self.small = self._made(disk.folder / "library.sqlite") if disk is not None else self.path
        self.known: dict[Path, str] = {}
        for path in {self.path, self.small}:
            with Library.open(path) as library:
                self.known[path] = crash_child.look(library)
        # The copies need no disk that survives.
        self.copies = Path(tempfile.mkdtemp(dir="/dev/shm" if Path("/dev/shm").is_dir() else None))

    def _made(self, path: Path) -> Path:
        with Library.open(path) as library:
            library.add_instrument(crash_child.chart(), "Lanternfish", crash_child.ADDRESS)
            library.keep_many(crash_child.sounds(self.luck, 50))
            library.keep_backups(number=3)
        return path

    def one(self, number: int) -> None:
        """One child, killed and judged."""
        kind = number % 16
        if kind in MIGRATING:
            self._migrating()
            return
        full = kind in FULL
        path = self.small if full else self.path
        seed = self.luck.getrandbits(60)
        narrow = narrowing(path, self.disk, random.Random(seed), LITTLE_ROOM) if full else wide
        begun = 0 if kind in OPENING else self.luck.randint(1, MOST_INTENTS)
        said = killed(lambda pipe: crash_child.edit(path, self.copies / "copy", pipe, seed, narrow), begun, self.luck)
        if full and self.disk is not None:
            # Still full: it opens, or says why it does not (any other error ends the bench). Then there is room again.
            with suppress(LibrarianError):
                Library.open(path).close()
            self.disk.roomy()
        self.known[path] = judge(path, self.known[path], said, self.tally)

    def _migrating(self) -> None:
        victim = self.folder / "migrated" / "library.sqlite"
        shutil.rmtree(victim.parent, ignore_errors=True)
        victim.parent.mkdir()
        with Library.open(self.path) as library:
            library.back_up(victim)
        before = dump(victim)
        said = killed(lambda pipe: crash_child.migrate(victim, pipe), 0, self.luck, 0.25)
        judge_migration(victim, before, said, self.tally)

    def close(self) -> None:
        """Throw the copies away."""
        shutil.rmtree(self.copies)


def main() -> None:
    """Kill, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        disk = small_disk(Path(folder) / "small disk")
        rounds = Rounds(Path(folder), disk, given.seed)
        for number in range(given.kills):
            rounds.one(number)
            if number % 20 == 19:
                size = rounds.path.stat().st_size / 1e6
                print(f"{number + 1} kills, {rounds.tally.acknowledged} acknowledged, {size:.1f} MB", flush=True)
        rounds.close()
        if disk is not None:
            # The folder cannot be removed while something is mounted there.
            shutil.rmtree(disk.folder / "library backups", ignore_errors=True)
            subprocess.run(["umount", str(disk.folder)], check=True)
    tally = rounds.tally
    print("acknowledged: " + ", ".join(f"{name} {count}" for name, count in tally.kinds.most_common()))
    print("killed in: " + ", ".join(f"{name} {count}" for name, count in tally.killed_in.most_common()))
    print(
        f"RESULT kills={given.kills} acknowledged={tally.acknowledged} lost={tally.lost} corrupt={tally.corrupt} "
        f"half={tally.half} refused={tally.refused} migrations={tally.migrations} small_disk={int(disk is not None)}"
    )


if __name__ == "__main__":
    main()
