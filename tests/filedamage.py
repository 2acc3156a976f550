"""Damaged files of every kind that the program reads, and what is done with each."""

from __future__ import annotations

import io
import json
import random
import shutil
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

from librarian.collection import Library, repair
from librarian.errors import LibrarianError
from librarian.files import intake, outgoing
from tests.filesamples import SPITEFUL, chart, library_at

KINDS = ("syx", "mid", "zip", "inside", "csv", "hex", "sqlite")
_WORDS = (
    b"\x00", b"\xff" * 4, b"\xf0", b"\xf7", b"MThd", b"MTrk", b"\x7f\xff\xff\xff", b"PK\x03\x04", b"..", b"/", b"\\",
    b'"', b"'", b"=", b",", b";", b"\t", b"\r", b"\n", b"\xef\xbb\xbf", b"\xff\xfe", b"9" * 40, b"-1", b"NaN", b"null",
    b"true", b"[", b"{", b"\\ud800", b"1e999", b"\xe2\x80\xae", b"\x1b[2J", b"<b>", b"\xf0\x7d", b"\xff\x2f\x00",
)  # fmt: skip
_NASTY = (
    *SPITEFUL,
    "",
    "x" * 3000,
    "\ud800",
    "a\x00b",
    "../../x",
    10**30,
    -1,
    True,
    None,
    1.5,
    [],
    {},
    ["a"],
    {"a": 1},
)
_LINE = 1 << 16


class Cases:
    """Case after case; equal numbers and seeds are equal cases."""

    def __init__(self, folder: Path, seed: int) -> None:
        self._folder = folder
        self._seed = seed
        self._whole: dict[str, list[bytes]] = {}
        self._make()
        self._charts = [chart("lanternfish"), chart("fogbell")]
        self.renew()

    def _make(self) -> None:
        source = self._folder / "source.sqlite"
        with library_at(source) as library:
            everything = library.find().ids
            for suffix in ("syx", "mid", "csv", "tsv", "zip"):
                path = self._folder / f"whole.{suffix}"
                if suffix == "zip":
                    outgoing.export_all(library, path)
                else:
                    outgoing.export(library, everything, path)
                self._whole[suffix] = [path.read_bytes()]
        self._whole["csv"] += self._whole.pop("tsv")
        self._whole["inside"] = self._whole["zip"]
        self._whole["hex"] = [self._whole["syx"][0][:600].hex(" ").encode(), self._whole["syx"][0][:400]]
        vector_c = bytes.fromhex(
            "4D546864000000060001000200604D54726B0000001300FF580404021808"
            "00FF51030F424000FF2F004D54726B0000001F00F0047D11223381 48F7034455"
            "6664F70277F700F701F600B04A0100FF2F00".replace(" ", "")
        )
        self._whole["mid"].append(vector_c)
        Library.open(self._folder / "empty.sqlite").close()
        small = self._folder / "small.sqlite"
        shutil.copy(source, small)
        self._whole["sqlite"] = [small.read_bytes()]

    def renew(self) -> None:
        """A new empty library for what can be imported."""
        opened = getattr(self, "_library", None)
        if opened is not None:
            opened.close()
        path = self._folder / "target.sqlite"
        for old in self._folder.glob("target.sqlite*"):
            old.unlink()
        shutil.copy(self._folder / "empty.sqlite", path)
        self._library = Library.open(path)
        self._done = 0

    def close(self) -> None:
        """Close the library."""
        self._library.close()

    def places(self, folder: Path) -> set[Path]:
        """Every file that is not where the cases work."""
        return {path for path in folder.rglob("*") if self._folder not in path.parents and path != self._folder}

    def run(self, number: int) -> str:
        """One case: "imported", "read" (looked at, or a library that could be opened) or "refused"."""
        luck = random.Random(f"{self._seed}/{number}")
        kind = KINDS[number % len(KINDS)]
        data = self._damaged(luck, kind)
        if kind == "sqlite":
            return self._library_file(data, number)
        path = self._folder / f"case{luck.choice(['.syx', '.mid', '.csv', '.zip', '.txt', ''])}"
        path.write_bytes(data)
        try:
            return self._import(path, luck)
        finally:
            path.unlink()

    def _import(self, path: Path, luck: random.Random) -> str:
        library = self._library
        try:
            moment = luck.choice(["", "", "", "100", "0.5s"]) if path.suffix == ".mid" else ""
            seen = intake.preview(library, [path], charts=self._charts, moment=moment)
        except LibrarianError:
            return "refused"
        assert seen.sentence
        _ = (seen.rows, seen.left, seen.notes, seen.choices, seen.added)
        before, stamp = library.total(), library.undo_label()
        try:
            done = intake.apply(library, seen, tags=["fuzz"] if luck.random() < 0.2 else ())
        except LibrarianError:
            if (library.total(), library.undo_label()) != (before, stamp):
                raise AssertionError("a refused import kept something") from None
            return "read"
        again = intake.preview(library, [path], charts=self._charts, moment=moment)
        if again.count("new") and not seen.choices:
            raise AssertionError(f"imported twice, {again.count('new')} are new again")
        if done.anything:
            library.undo(done.label)
        if library.total() != before:
            raise AssertionError("undo left something behind")
        self._done += 1
        if self._done % 100 == 0:
            wrong = library.check()
            if wrong:
                raise AssertionError(f"the library is not whole: {wrong[0]}")
            self.renew()
        return "imported"

    def _library_file(self, data: bytes, number: int) -> str:
        path, saved = self._folder / "damaged.sqlite", self._folder / "saved.sqlite"
        path.write_bytes(data)
        try:
            try:
                with Library.open(path) as library:
                    library.check()
                    ids = library.find("storm").ids
                    library.rows(ids)
                    library.version_contents([row.latest for row in library.rows(library.find().ids)])
                    library.unread()
                return "read"
            except LibrarianError:
                pass
            if number % 3 == 0:
                try:
                    repair(path, saved)
                except LibrarianError:
                    return "refused"
            return "refused"
        finally:
            for pattern in ("damaged.sqlite*", "saved.sqlite*"):
                for old in self._folder.glob(pattern):
                    shutil.rmtree(old) if old.is_dir() else old.unlink(missing_ok=True)

    # --- damage

    def _damaged(self, luck: random.Random, kind: str) -> bytes:
        data = luck.choice(self._whole[kind])
        if kind == "inside":
            return _inside(luck, data)
        for _ in range(luck.choice([1, 1, 2, 5, 20])):
            data = luck.choice(_DAMAGES)(luck, data)
        if kind == "sqlite":
            return data
        if luck.random() < 0.05:
            data += luck.choice(self._whole[luck.choice(list(self._whole))])
        return data


def _turn(luck: random.Random, data: bytes) -> bytes:
    if not data:
        return data
    at = luck.randrange(len(data))
    return data[:at] + bytes((data[at] ^ 1 << luck.randrange(8),)) + data[at + 1 :]


def _cut(luck: random.Random, data: bytes) -> bytes:
    return data[: luck.randrange(len(data) + 1)]


def _take_out(luck: random.Random, data: bytes) -> bytes:
    at = luck.randrange(len(data) + 1)
    return data[:at] + data[at + luck.choice([1, 1, 2, 4, 100]) :]


def _put_in(luck: random.Random, data: bytes) -> bytes:
    at = luck.randrange(len(data) + 1)
    return data[:at] + luck.choice(_WORDS) + data[at:]


def _replace(luck: random.Random, data: bytes) -> bytes:
    at = luck.randrange(len(data) + 1)
    word = luck.choice(_WORDS)
    return data[:at] + word + data[at + len(word) :]


def _twice(luck: random.Random, data: bytes) -> bytes:
    a, b = sorted((luck.randrange(len(data) + 1), luck.randrange(len(data) + 1)))
    b = min(b, a + _LINE)
    return data[:b] + data[a:b] * luck.choice([1, 1, 3]) + data[b:]


def _number(luck: random.Random, data: bytes) -> bytes:
    """A field of 2, 4 or 8 bytes becomes absurd."""
    size = luck.choice([2, 4, 8])
    at = luck.randrange(max(len(data) - size, 0) + 1)
    value = luck.choice([0, 1, 0x7F, 0x7FFF, 0xFFFF, 1 << 31, (1 << 32) - 1, (1 << 63) - 1]) & ((1 << 8 * size) - 1)
    return data[:at] + value.to_bytes(size, luck.choice(["big", "little"])) + data[at + size :]


def _lengths_of_midi(luck: random.Random, data: bytes) -> bytes:
    at = data.find(luck.choice([b"MTrk", b"MThd"]))
    if at < 0:
        return _number(luck, data)
    return data[: at + 4] + struct.pack(">L", luck.choice([0, 5, 1 << 31, (1 << 32) - 1])) + data[at + 8 :]


_DAMAGES: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    _turn,
    _turn,
    _cut,
    _take_out,
    _put_in,
    _replace,
    _twice,
    _number,
    _lengths_of_midi,
)


def _inside(luck: random.Random, data: bytes) -> bytes:
    """A zip that is whole, with files in it that are not."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        chosen = luck.choice(names)
        for name in names:
            body = old.read(name)
            if name == chosen:
                if luck.random() < 0.1:
                    continue
                body = _reworded(luck, body) if name.endswith("l") and luck.random() < 0.7 else _several(luck, body)
            new.writestr(name if luck.random() > 0.01 else f"{luck.choice(['../', '/', 'x/'])}{name}", body)
        if luck.random() < 0.05:
            new.writestr(luck.choice(["../../evil", "nested.zip", "sounds/999999.jsonl", "charts/x.toml"]), data[:5000])
    return out.getvalue()


def _several(luck: random.Random, body: bytes) -> bytes:
    for _ in range(luck.choice([1, 1, 3])):
        body = luck.choice(_DAMAGES)(luck, body)
    return body


def _reworded(luck: random.Random, body: bytes) -> bytes:
    """Values of some keys in lines of JSON become others, also of another kind."""
    lines = body.splitlines()
    for _ in range(luck.choice([1, 1, 4])):
        at = luck.randrange(len(lines))
        try:
            found = json.loads(lines[at])
        except ValueError:
            continue
        _reword(luck, found)
        lines[at] = json.dumps(found).encode()
    return b"\n".join(lines) + b"\n"


def _reword(luck: random.Random, found: object) -> None:
    while isinstance(found, dict | list) and found:
        key = luck.choice(list(found) if isinstance(found, dict) else range(len(found)))
        inner = found[key]  # type: ignore[index]
        if isinstance(inner, dict | list) and inner and luck.random() < 0.8:
            found = inner
            continue
        found[key] = luck.choice(_NASTY)  # type: ignore[index]
        return
