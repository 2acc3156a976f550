"""A bundle out of a library: the same content gives the same bytes, whenever and wherever it is written."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import IO, Any

from librarian.collection import InstrumentRow, Library, PatchRow
from librarian.collection.records import VersionRow
from librarian.errors import OutsideProblem
from librarian.files.bundle import form
from librarian.files.identity import identity
from librarian.files.progress import NOTHING_WRITTEN, CancelToken, Going, OnStep
from librarian.files.syx import write_whole
from librarian.messages import Version

_PORTION = 500
_EPOCH = (1980, 1, 1, 0, 0, 0)
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class Bundled:
    """What was written. `content`: SHA-256 (hex) of the sounds, whatever their order."""

    sounds: int
    versions: int
    size: int
    content: str


def write(
    library: Library,
    path: Path,
    patches: Sequence[int] | None = None,
    *,
    replace: bool = False,
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> Bundled:
    """Write the patches, or with None everything: the trash, what was not understood, saved searches.

    The file appears whole or not at all. Raises Refused when it exists, OutsideProblem, Cancelled.
    """
    going = Going(cancel, progress, every=2, state=NOTHING_WRITTEN)
    try:
        with tempfile.TemporaryFile() as draft:
            writer = _Writer(library, draft, going)
            writer.write(patches)
            draft.seek(0)
            size = write_whole(path, iter(lambda: draft.read(_CHUNK), b""), replace=replace)
    except OSError as error:
        raise OutsideProblem(
            f"The bundle cannot be written: {error.strerror or error}.", "Make room on the disk, then export again."
        ) from error
    return Bundled(writer.sounds, writer.versions, size, writer.content)


def content_of(lines: Iterable[bytes]) -> str:
    """SHA-256 over the sorted SHA-256 of the sounds' lines."""
    return sha256(b"".join(sorted(sha256(each).digest() for each in lines))).hexdigest()


class _Writer:
    def __init__(self, library: Library, file: IO[bytes], going: Going) -> None:
        self._library = library
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=6, allowZip64=True)
        self._going = going
        self._files: dict[str, dict[str, Any]] = {}
        self._charts: dict[tuple[str, int], str] = {}
        self._lines: list[bytes] = []
        self.sounds = 0
        self.versions = 0
        self.content = ""

    def write(self, patches: Sequence[int] | None) -> None:
        library, everything = self._library, patches is None
        with self._zip:
            live = list(library.find(order="name").ids) if patches is None else list(dict.fromkeys(patches))
            binned = list(library.find(order="name", trash=True).ids) if everything else []
            self._add(form.README, [form.EXPLAINED.encode("utf-8")])
            rows = self._instruments([*live, *binned], everything)
            order = {row.id: place for place, row in enumerate(rows)}
            self._sounds(self._sorted([*live, *binned], order), order)
            self._add(form.INSTRUMENTS, [form.line(self._instrument(row)) for row in rows])
            if everything:
                self._rest()
            for (chart, revision), name in sorted(self._charts.items(), key=lambda each: each[1]):
                self._add(name, [library.chart_text(chart, revision).encode("utf-8", "replace")])
            self.content = sha256(b"".join(sorted(self._lines))).hexdigest()
            counts = {"sounds": self.sounds, "versions": self.versions, "instruments": len(rows)}
            index = {
                "format": form.FORMAT,
                "what": form.MARK,
                "whole": everything,
                "content_sha256": self.content,
                **counts,
                "files": dict(self._files),
            }
            self._add(form.INDEX, [form.page(index)])

    # --- instruments and charts

    def _instruments(self, patches: Sequence[int], everything: bool) -> list[InstrumentRow]:
        """Those in use (of a whole collection all), in an order that does not depend on when they were added."""
        rows = self._library.instruments(removed=True)
        if not everything:
            used = {row.instrument for row in self._rows(patches)}
            rows = tuple(row for row in rows if row.id in used)
        else:
            for chart, revision, _ in self._library.charts():
                self._chart(chart, revision)
        for row in rows:
            self._chart(row.chart, row.revision)
        return sorted(rows, key=lambda row: (row.name, row.chart, row.revision, row.removed, row.id))

    def _chart(self, chart: str, revision: int) -> str:
        key = (chart, revision)
        if key not in self._charts:
            plain = "".join(sign if sign.isascii() and (sign.isalnum() or sign in "-_") else "_" for sign in chart)
            name = f"{form.CHARTS}{plain[:60] or 'chart'}-{revision}.toml"
            while name in self._charts.values():
                name = name.removesuffix(".toml") + "_.toml"
            self._charts[key] = name
        return self._charts[key]

    def _instrument(self, row: InstrumentRow) -> dict[str, Any]:
        return {
            "name": row.name,
            "chart": row.chart,
            "revision": row.revision,
            "chart_file": self._chart(row.chart, row.revision),
            "channel": row.address.channel + 1,
            "device": row.address.device,
            "firmware": row.firmware,
            "removed": row.removed,
        }

    # --- sounds

    def _sorted(self, patches: Sequence[int], order: dict[int, int]) -> list[int]:
        keys = [
            (row.place == "trash", order[row.instrument], row.name, row.taken, row.id) for row in self._rows(patches)
        ]
        return [key[-1] for key in sorted(keys)]

    def _sounds(self, patches: Sequence[int], order: dict[int, int]) -> None:
        lines = self._sound_lines(patches, order)
        number = 0
        while True:
            number += 1
            portion = list(islice(lines, form.SOUNDS_A_FILE))
            if portion:
                self._add(form.SOUNDS.format(number), portion)
            if len(portion) < form.SOUNDS_A_FILE:
                return

    def _sound_lines(self, patches: Sequence[int], order: dict[int, int]) -> Iterator[bytes]:
        for start in range(0, len(patches), _PORTION):
            self._going.tell(start, len(patches), "sounds")
            rows = self._library.rows(patches[start : start + _PORTION])
            histories = self._library.histories([row.id for row in rows])
            contents = self._library.version_contents([each.id for some in histories.values() for each in some])
            for row in rows:
                history = histories.get(row.id, ())
                if not history or any(each.id not in contents for each in history):
                    continue  # another program emptied the trash meanwhile
                told = form.line(self._sound(row, history, contents, order))
                self.sounds += 1
                self.versions += len(history)
                self._lines.append(sha256(told).digest())
                yield told

    def _sound(
        self, row: PatchRow, history: Sequence[VersionRow], contents: dict[int, Version], order: dict[int, int]
    ) -> dict[str, Any]:
        numbers = {each.id: place + 1 for place, each in enumerate(history)}
        versions = [self._version(each, numbers, contents) for each in history]
        told = {
            "name": row.name,
            "instrument": order[row.instrument] + 1,
            "tags": list(row.tags),
            "note": row.note,
            "versions": versions,
        }
        return {**told, "trash": True} if row.place == "trash" else told

    def _version(self, row: VersionRow, numbers: dict[int, int], contents: dict[int, Version]) -> dict[str, Any]:
        content = contents[row.id]
        told: dict[str, Any] = {
            "chart": content.chart,
            "revision": content.revision,
            "chart_file": self._chart(content.chart, content.revision),
            "values": dict(content.values),
            "unknown": sorted(content.unknown),
            "received": [raw.hex().upper() for raw in content.received],
            "origin": content.origin.kind,
            "detail": content.origin.detail,
            "name_inside": content.name,
            "taken": content.taken.isoformat(timespec="microseconds").replace("+00:00", "Z"),
            "note": row.note,
            "parent": numbers.get(row.parent) if row.parent is not None else None,
        }
        if row.parent is not None and row.parent not in numbers:
            parent = self._library.version_contents([row.parent]).get(row.parent)
            if parent is not None:
                told["parent_elsewhere"] = identity(parent).hex()
        return told

    def _rest(self) -> None:
        unread = [
            {"messages": [raw.hex().upper() for raw in row.messages], "source": row.source, "reason": row.reason}
            for row in self._library.unread()
        ]
        if unread:
            self._add(form.UNREAD, [form.line(each) for each in unread])
        searches = [{"name": row.name, "text": row.text} for row in self._library.saved_searches()]
        if searches:
            self._add(form.SEARCHES, [form.line(each) for each in searches])

    def _rows(self, patches: Sequence[int]) -> Iterator[PatchRow]:
        for start in range(0, len(patches), _PORTION):
            self._going.tell(start, 2 * len(patches), "sounds")
            yield from self._library.rows(patches[start : start + _PORTION])

    # --- the zip

    def _add(self, name: str, lines: Iterable[bytes]) -> None:
        about = zipfile.ZipInfo(name, _EPOCH)
        about.compress_type = zipfile.ZIP_DEFLATED
        about.create_system = 3
        about.external_attr = 0o644 << 16
        about._compresslevel = 6  # type: ignore[attr-defined]
        state, size = sha256(), 0
        with self._zip.open(about, "w") as file:
            for each in lines:
                state.update(each)
                size += len(each)
                file.write(each)
        self._files[name] = {"bytes": size, "sha256": state.hexdigest()}
