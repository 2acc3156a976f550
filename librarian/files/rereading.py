"""What was not understood when it came, read again with the charts there are now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from librarian.collection import Library, UnreadRow
from librarian.files import importing
from librarian.files.pieces import Piece
from librarian.files.progress import CancelToken, Going, OnStep
from librarian.files.recognising import Recogniser
from librarian.files.sound import Sound, SoundReader
from librarian.files.syx import scan
from librarian.files.targets import Target


@dataclass(frozen=True, slots=True)
class UnreadSource:
    """The kept bytes of one entry, as a file that lies in the library."""

    row: UnreadRow

    @property
    def name(self) -> str:
        """Where it came from in the first place."""
        return self.row.source.split(" at ")[0]

    @property
    def size(self) -> int:
        """Bytes."""
        return sum(len(raw) for raw in self.row.messages)

    @property
    def notes(self) -> tuple[str, ...]:
        """Nothing that was not said when it came."""
        return ()

    def pieces(self) -> Iterator[Piece]:
        """Message by message, so that damaged ones do not run together."""
        place = 0
        for raw in self.row.messages:
            for piece in scan(raw):
                yield Piece(place + piece.place, piece.size, piece.kind, piece.raw, piece.realtime)
            place += len(raw)

    def where(self, place: int) -> str:
        """A place in words."""
        return f"{self.row.source.partition(' at ')[2]}, {place} bytes on"


@dataclass(frozen=True, slots=True)
class Reread:
    """`rows`: entries that hold sounds now; they leave the list when the preview is applied."""

    preview: importing.Preview
    rows: tuple[int, ...]


def preview(
    library: Library,
    targets: Sequence[Target],
    *,
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> Reread:
    """What the entries would become. What is still not understood stays as it is."""
    understood: list[UnreadRow] = []
    going = Going(cancel, progress)
    rows = library.unread()
    for place, row in enumerate(rows):
        going.tell(place, len(rows), "messages")
        findings = Recogniser(targets, SoundReader(targets, "")).findings(UnreadSource(row))
        if any(isinstance(each, Sound) for each in findings):
            understood.append(row)
    seen = importing.preview(
        library, [UnreadSource(row) for row in understood], targets, cancel=cancel, progress=progress
    )
    return Reread(seen, tuple(row.id for row in understood))


def apply(
    library: Library,
    seen: Reread,
    *,
    tags: Sequence[str] = (),
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> importing.Imported:
    """Keep the sounds, forget the entries they came from, keep again what remains of those; one step of undo."""
    with library.together("Read again what was not understood"):
        done = importing.apply(library, seen.preview, tags=tags, cancel=cancel, progress=progress)
        library.forget_unread(seen.rows)
    return done
