"""The conversations about a memory, as the line's thread has them; everything read is kept in the library at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime

from librarian import transfer
from librarian.chart import Chart
from librarian.collection import InstrumentRow, Library
from librarian.collection.memories import Memories, MemoryBackup
from librarian.errors import Cancelled, LibrarianError
from librarian.messages import Version
from librarian.transfer import Cancel, Line, OnProgress
from librarian.window.memory.after import Written, astray_words, kept_words
from librarian.window.words import clock_time, day

Talk = Callable[[Line, Cancel, OnProgress], object]


def backup_name(row: InstrumentRow) -> str:
    """What a backup is called."""
    now = datetime.now().astimezone()
    return f"{row.name}, {day(now)} {clock_time(now)}"


def backing_up(library: Library, instrument: int, chart: Chart, resumed: MemoryBackup | None) -> Talk:
    """Read the whole memory, or the rest of one that was broken off. Ends in a `MemoryBackup`."""

    def talk(line: Line, cancel: Cancel, progress: OnProgress) -> MemoryBackup:
        memories = Memories(library)
        memory = chart.memory
        wanted = range(memory.size) if memory is not None else ()
        row = library.instrument(instrument)
        kept = resumed if resumed is not None else memories.begin(row, chart, backup_name(row), wanted)
        try:
            found = transfer.backup(
                line, programs=kept.wanted, done=memories.programs(kept),
                keep=lambda number, version: memories.keep(kept, number, version), cancel=cancel, progress=progress,
            )
        finally:
            # Of a backup that never read anything nothing need be listed.
            if not memories.programs(kept):
                memories.delete(kept)
        return memories.end(kept, found.failed)

    return talk


def looking(numbers: list[int]) -> Talk:
    """Read what is in these places. Ends in a `transfer.Backup`."""
    return lambda line, cancel, progress: transfer.backup(line, programs=numbers, cancel=cancel, progress=progress)


def writing(
    library: Library, instrument: int, chart: Chart, wanted: Mapping[int, Version], seen: Mapping[int, Version],
    source: str,
) -> Talk:
    """Write what the person has agreed to. Ends in a `Written`; what breaks it off says where what was there is."""

    def talk(line: Line, cancel: Cancel, progress: OnProgress) -> Written:
        memories = Memories(library)
        now = datetime.now().astimezone()
        name = f"Before {source}, {day(now)} {clock_time(now)}"
        before = memories.begin(library.instrument(instrument), chart, name, wanted, "before")

        def allow(question: transfer.Replace) -> bool:
            # Agreed was to what was shown; what has become something else since then was not meant.
            return question.number in seen and transfer.same_sound(question.there, seen[question.number])

        def kept_as() -> str:
            return before.name if memories.programs(before) else ""

        def next_of(account: str) -> str:
            return " ".join(part for part in (kept_words(kept_as()), astray_words(account)) if part)

        try:
            result = transfer.restore(
                line, wanted, allow=allow, keep_before=lambda number, version: memories.keep(before, number, version),
                cancel=cancel, progress=progress,
            )
            return Written(result, frozenset(wanted), kept_as())
        except Cancelled as ended:
            raise Cancelled(f"{ended} {next_of(str(ended))}".strip()) from ended
        except LibrarianError as problem:
            problem.hint = f"{problem.hint} {next_of(str(problem))}".strip()
            raise
        finally:
            if memories.programs(before):
                memories.end(before, {})
            else:
                memories.delete(before)

    return talk
