"""What lies in a file of MIDI data: pieces that follow each other and account for every byte or event of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, Protocol

from librarian.wire.cable import data_bytes

PieceKind = Literal["sysex", "cut", "channel", "system", "padding", "outside"]


# Not frozen: one is made for each sound of an import, and freezing takes as long again.
@dataclass(slots=True)
class Piece:
    """One piece of a file.

    `place`: where it begins (byte in a .syx file, number of the event in a .mid file). `size`: bytes or events that it
    covers. `raw`: its bytes without the realtime bytes inside, of which there were `realtime`.
    `kind`: 'sysex' a whole message; 'cut' a SysEx message without F7; 'channel' one channel status with its data,
    which is one message or several; 'system' another whole message; 'padding' filling after a message; 'outside'
    bytes that are no message.
    """

    place: int
    size: int
    kind: PieceKind
    raw: bytes
    realtime: int = 0

    def messages(self) -> Iterator[bytes]:
        """The whole messages in it, running status resolved."""
        if self.kind in ("sysex", "system"):
            yield self.raw
        elif self.kind == "channel":
            step = data_bytes(self.raw[0]) or 1
            for at in range(1, len(self.raw) - step + 1, step):
                yield self.raw[:1] + self.raw[at : at + step]

    @property
    def surplus(self) -> bytes:
        """Data bytes at the end of a channel piece that make no whole message."""
        if self.kind != "channel":
            return b""
        rest = (len(self.raw) - 1) % (data_bytes(self.raw[0]) or 1)
        return self.raw[len(self.raw) - rest :]


class Source(Protocol):
    """A file that was opened: its pieces as often as wanted, and where they are in words."""

    @property
    def name(self) -> str:
        """The name of the file, without folders."""
        ...

    @property
    def size(self) -> int:
        """Its extent, in what places count."""
        ...

    @property
    def notes(self) -> tuple[str, ...]:
        """What is worth knowing about the file as a whole, as sentences."""
        ...

    def pieces(self) -> Iterator[Piece]:
        """The pieces in order."""
        ...

    def where(self, place: int) -> str:
        """A place in words: "byte 120"."""
        ...
