"""Which patch, which version a person means on a command line, and patches as answers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from rich.table import Table

from librarian.cli import answers
from librarian.cli.here import cell, table
from librarian.collection import Library, PatchRow, VersionRow
from librarian.errors import BadInput

REFERENCE = "A patch: its number, its name, or enough words of it to be the only one; NAME@3 is its version 3."
_VERSION = re.compile(r"(?P<patch>.+)@(?P<number>[0-9]{1,9})", re.DOTALL)
_WORDS = re.compile(r"[^\W_]+")
_QUOTES = re.compile('["“”„«»]')
_LISTED = 5


def find_patch(library: Library, said: str, *, trash: bool = False) -> PatchRow:
    """The one patch that `said` means: number, exact name, name without regard to case, or the only one found.

    Raises BadInput naming the candidates when there is none or more than one.
    """
    if said.isascii() and said.isdigit() and len(said) < 19:
        for row in library.rows([int(said)]):
            if (row.place == "trash") == trash:
                return row
    phrase = library.rows(library.find(_quoted(said), trash=trash).ids)
    words = library.rows(library.find(_bare(said), trash=trash).ids) if _bare(said) else []
    for same in (
        [row for row in phrase if row.name == said],
        [row for row in phrase if row.name.casefold() == said.casefold()],
        phrase if _bare(said) else [],
        words,
    ):
        if len(same) == 1:
            return same[0]
        if same:
            raise BadInput(f"“{said}” may be any of {len(same)} patches: {_named(same)}.", "Give its number instead.")
    where = "in the trash" if trash else "in this library"
    raise BadInput(f"No patch {where} is called “{said}”.", "Look for it with: librarian find WORDS")


def find_patches(library: Library, said: Iterable[str], *, trash: bool = False) -> list[PatchRow]:
    """The patches meant by several references, each once, in their order."""
    rows = {row.id: row for row in (find_patch(library, each, trash=trash) for each in said)}
    return list(rows.values())


def find_version(library: Library, said: str) -> tuple[PatchRow, VersionRow]:
    """The patch and version that `said` means; without @NUMBER the latest version."""
    number = None
    asked = _VERSION.fullmatch(said)
    if asked is not None and not any(row.name == said for row in library.rows(library.find(_quoted(said)).ids)):
        said, number = asked["patch"], int(asked["number"])
    patch = find_patch(library, said)
    versions = library.versions(patch.id)
    if number is None:
        return patch, next(each for each in versions if each.id == patch.latest)
    for each in versions:
        if each.number == number:
            return patch, each
    raise BadInput(f"“{patch.name}” has no version {number}.", f"It has versions 1 to {versions[-1].number}.")


def _bare(said: str) -> str:
    """The words of a name, so that no sign in it means something to the search."""
    return " ".join(f'"{word}"' for word in _WORDS.findall(said))


def _quoted(said: str) -> str:
    """The name as one phrase of the search."""
    return f'"{" ".join(_QUOTES.sub(" ", said).split())}"'


def patch_answer(row: PatchRow) -> answers.Patch:
    """A patch under its documented keys."""
    return answers.Patch(
        id=row.id,
        name=row.name,
        instrument=row.instrument_name,
        tags=list(row.tags),
        note=row.note,
        versions=row.versions,
        unknown=row.unknown,
        origin=row.origin,
        taken=row.taken,
        changed=row.changed,
        place=row.place,
    )


def version_answer(row: VersionRow) -> answers.Version:
    """A version under its documented keys."""
    return answers.Version(
        id=row.id,
        number=row.number,
        taken=row.taken,
        origin=row.origin.kind,
        detail=row.origin.detail,
        note=row.note,
        unknown=row.unknown,
    )


def patch_table(rows: Sequence[PatchRow]) -> Table:
    """Patches as a list for people."""
    made = table("Nr", "Name", "Instrument", "Tags", "Versions", "Unknown", right=(0, 4, 5))
    for row in rows:
        made.add_row(
            str(row.id),
            cell(row.name, bold=True),
            cell(row.instrument_name),
            cell(", ".join(row.tags)),
            str(row.versions),
            str(row.unknown) if row.unknown else "",
        )
    return made


def _named(rows: Sequence[PatchRow]) -> str:
    names = ", ".join(f"{row.id} “{row.name}”" for row in rows[:_LISTED])
    return names if len(rows) <= _LISTED else f"{names} …"
