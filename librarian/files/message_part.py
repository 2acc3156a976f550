"""Files of MIDI messages as a part of an import."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from librarian.collection import Library
from librarian.files import importing
from librarian.files.progress import Going
from librarian.files.seen import Left, Outcome, Row, Wishes


@dataclass(frozen=True)
class MessagePart:
    """All .syx and .mid files of an import, seen together: the same sound in two of them is one sound.

    `files`: place of each file of the preview among all files of the import.
    """

    preview: importing.Preview
    files: tuple[int, ...]

    @cached_property
    def rows(self) -> Sequence[Row]:
        """Its sounds."""
        names = [each.name for each in self.preview.targets]
        return tuple(
            Row(
                each.status,
                each.name,
                each.instrument,
                each.known,
                each.of,
                each.patch,
                each.sound.where,
                self.files[each.sound.file],
                tuple(names[other] for other in each.sound.others),
            )
            for each in self.preview.sounds
        )

    @cached_property
    def left(self) -> tuple[Left, ...]:
        """What was not understood."""
        return tuple(
            Left(each.source, each.found.name, each.found.reason, each.found.messages, each.kept_before)
            for each in self.preview.left
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences about the files."""
        return self.preview.notes

    @property
    def added(self) -> tuple[str, ...]:
        """Instruments that it adds."""
        return tuple(each.name for each in self.preview.added)

    def keep(self, library: Library, wishes: Wishes, going: Going) -> Outcome:
        """Keep the sounds."""
        done = importing.apply(
            library,
            self.preview,
            tags=wishes.tags,
            changed=wishes.changed,
            cancel=going.cancel,
            progress=going.progress,
        )
        return Outcome(
            done.patches,
            done.versions,
            0,
            done.unread,
            done.same,
            done.skipped,
            0,
            done.instruments,
        )
