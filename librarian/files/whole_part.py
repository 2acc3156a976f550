"""A table or a bundle as a part of an import: read once for the preview, and once more when it is kept.

Between the two nothing of the sounds stays in memory but what the preview shows; that the file is still the same one
is known by its digest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path

from librarian.collection import Library, clean_name
from librarian.errors import OutsideProblem, Refused
from librarian.files.bundle.stream import BundleStream
from librarian.files.incoming import Landing
from librarian.files.landing import added
from librarian.files.matching import Matcher
from librarian.files.merging import Keeper, otherwise_called, plans, repeated
from librarian.files.progress import Going
from librarian.files.seen import Left, Outcome, Row, Wishes
from librarian.files.table.reading import TableStream

_MOST_NOTES = 20


@dataclass(frozen=True)
class WholePart:
    """One table or bundle that was looked through."""

    stream: TableStream | BundleStream
    path: Path
    digest: bytes
    rows: tuple[Row, ...]
    left: tuple[Left, ...]
    notes: tuple[str, ...]
    wanted: frozenset[bytes]
    often: frozenset[bytes]

    @property
    def added(self) -> tuple[str, ...]:
        """Instruments that it adds."""
        return added(self._used())

    def _used(self) -> tuple[Landing, ...]:
        if self.stream.exact:
            return self.stream.landings
        names = {row.instrument for row in self.rows if row.status != "same"}
        return tuple(each for each in self.stream.landings if each.called in names)

    def keep(self, library: Library, wishes: Wishes, going: Going) -> Outcome:
        """Read the file again and keep what it has. Raises Refused when it is another file by now."""
        if digest_of(self.path) != self.digest:
            raise Refused(
                f"{self.path.name} has changed since it was looked at; nothing was kept.", "Look at it again."
            )
        for chart in self.stream.charts:
            library.keep_chart(chart)
        made = []
        owners = []
        used = {id(each) for each in self._used()}
        for each in self.stream.landings:
            number = each.instrument
            if number is None and id(each) in used:
                number = library.add_instrument(each.chart, each.name, each.address)
                made.append(number)
                if each.firmware:
                    library.update_instrument(number, firmware=each.firmware)
            owners.append(number)
        matcher = Matcher(library, owners, exact=self.stream.exact, often=self.often)
        keeper = Keeper(
            library,
            [number or 0 for number in owners],
            matcher,
            tags=wishes.tags,
            changed=wishes.changed,
            wanted=self.wanted,
        )
        for portion in plans(self.stream, matcher, going):
            keeper.keep(portion)
        tally = keeper.finish()
        for each, number in zip(self.stream.landings, owners, strict=True):
            if number in made and each.removed:
                library.remove_instrument(number)
        unread, searches = self._rest(library)
        return Outcome(
            tally.patches,
            tally.versions,
            len(tally.words),
            unread,
            tally.same,
            tally.skipped,
            tally.parted,
            tuple(made),
            searches,
        )

    def _rest(self, library: Library) -> tuple[Sequence[int], int]:
        """What was not understood and is not here yet; saved searches, none of them over one of the same name."""
        if not isinstance(self.stream, BundleStream):
            return (), 0
        unread = library.keep_unread(
            (each.messages, each.source, each.reason) for each in self.left if not each.kept_before
        )
        there = {row.name: row.text for row in library.saved_searches()}
        count = 0
        for name, line in self.stream.bundle.searches():
            tidy = clean_name(name, cut=True)
            if not tidy or line in (there.get(tidy), there.get(f"{tidy} (imported)")):
                continue
            tidy = f"{tidy} (imported)" if tidy in there else tidy
            if tidy not in there:
                library.save_search(tidy, line)
                there[tidy] = line
                count += 1
        return unread, count


def look(library: Library, stream: TableStream | BundleStream, path: Path, file: int, going: Going) -> WholePart:
    """Read the file through and compare it with the library. Raises BadInput, OutsideProblem, Cancelled."""
    digest = digest_of(path)
    owners = [each.instrument for each in stream.landings]
    rows: list[Row] = []
    said: list[str] = []
    wanted: set[bytes] = set()
    often = repeated(stream)
    for portion in plans(stream, Matcher(library, owners, exact=stream.exact, often=often), going):
        for plan in portion:
            latest = plan.sound.latest
            row = plan.match.row
            rows.append(
                Row(
                    plan.status,
                    clean_name(plan.sound.name, cut=True),
                    stream.landings[plan.sound.owner].called,
                    latest.known,
                    latest.known + len(latest.unknown),
                    None if row is None else row.id,
                    plan.sound.where,
                    file,
                )
            )
            wanted.update(each.foreign for each in plan.sound.versions if each.foreign)
            told = otherwise_called(plan)
            if told and len(said) < _MOST_NOTES:
                said.append(told)
    left = _left(library, stream)
    notes = tuple(f"{stream.name}: {note}." for note in (*stream.notes, *said))
    return WholePart(stream, path, digest, tuple(rows), left, notes, frozenset(wanted), often)


def _left(library: Library, stream: TableStream | BundleStream) -> tuple[Left, ...]:
    if not isinstance(stream, BundleStream):
        return ()
    known = {row.messages for row in library.unread()}
    return tuple(
        Left(source, "", reason, messages, messages in known) for messages, source, reason in stream.bundle.unread()
    )


def digest_of(path: Path) -> bytes:
    """A digest of the whole file. Raises OutsideProblem."""
    state = blake2b(digest_size=16)
    try:
        with path.open("rb") as file:
            while piece := file.read(1 << 20):
                state.update(piece)
    except OSError as error:
        raise OutsideProblem(f"{path} cannot be read: {error.strerror or error}.", "Check the file.") from error
    return state.digest()
