"""Verbs that change the collection: name, tag, annotate, delete, restore, undo, redo."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated

import typer

from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.exits import Exit
from librarian.cli.here import Here
from librarian.cli.patches import REFERENCE, find_patch, find_patches, patch_answer
from librarian.cli.verb import verb
from librarian.cli.verbs.look import problem_sentence
from librarian.collection import Library, PatchRow
from librarian.errors import BadInput

PatchArgument = Annotated[str, typer.Argument(metavar="PATCH", help=REFERENCE)]
PatchesArgument = Annotated[list[str] | None, typer.Argument(metavar="[PATCH]...", help=REFERENCE)]
TagsArgument = Annotated[list[str] | None, typer.Argument(metavar="[TAG]...", help="One word or several in quotes.")]
MatchingOption = Annotated[
    str | None,
    typer.Option("--matching", metavar="WORDS", help="All patches that these words find, instead of PATCH."),
]


def add_to(app: typer.Typer) -> None:
    """Register these verbs."""
    verb(app, "tag")(tag)
    verb(app, "untag")(untag)
    verb(app, "rename")(rename)
    verb(app, "note")(note)
    verb(app, "delete")(delete)
    verb(app, "restore")(restore)
    verb(app, "undo")(undo)
    verb(app, "redo")(redo)


def tag(here: Here, words: TagsArgument = None, matching: MatchingOption = None) -> None:
    """Add tags to a patch: librarian tag PATCH TAG..., or with --matching WORDS to all that these words find."""
    _tags(here, words or [], matching, "Tagged", lambda library, ids, tags: library.tag(ids, add=tags))


def untag(here: Here, words: TagsArgument = None, matching: MatchingOption = None) -> None:
    """Take tags away from a patch, or with --matching WORDS from all that these words find."""
    _tags(here, words or [], matching, "Untagged", lambda library, ids, tags: library.tag(ids, remove=tags))


def rename(here: Here, patch: PatchArgument, name: Annotated[str, typer.Argument(help="The new name.")]) -> None:
    """Give a patch another name."""
    with here.opened() as library:
        row = find_patch(library, patch)
        library.rename(row.id, name, was=row.name)
        _done(here, library, [row.id], f"Renamed “{row.name}” to “{library.patch(row.id).name}”")


def note(
    here: Here, patch: PatchArgument, text: Annotated[str, typer.Argument(help="Plain text; empty takes it away.")]
) -> None:
    """Write the note of a patch."""
    with here.opened() as library:
        row = find_patch(library, patch)
        library.set_note(row.id, text, was=row.note)
        _done(here, library, [row.id], f"Note of “{row.name}” {'written' if text else 'taken away'}")


def delete(here: Here, patches: PatchesArgument = None, matching: MatchingOption = None) -> None:
    """Put patches into the trash; nothing is gone, `restore` and `undo` bring them back."""
    with here.opened() as library:
        rows = meant_patches(library, here.verb, patches or [], matching)
        library.delete([row.id for row in rows])
        _done(here, library, [row.id for row in rows], f"Into the trash: {_names([row.name for row in rows])}")


def restore(here: Here, patches: PatchesArgument = None, matching: MatchingOption = None) -> None:
    """Take patches out of the trash."""
    with here.opened() as library:
        rows = meant_patches(library, here.verb, patches or [], matching, trash=True)
        library.restore([row.id for row in rows])
        _done(here, library, [row.id for row in rows], f"Restored: {_names([row.name for row in rows])}")


def undo(here: Here) -> Exit:
    """Take back the last change of the collection, whichever program made it."""
    with here.opened() as library:
        return _step(here, library.undo(), library.undo_label(), "Undone", "Nothing to undo.")


def redo(here: Here) -> Exit:
    """Do again what was undone last."""
    with here.opened() as library:
        return _step(here, library.redo(), library.redo_label(), "Done again", "Nothing to do again.")


def meant_patches(
    library: Library, verb_said: str, patches: Sequence[str], matching: str | None, *, trash: bool = False
) -> list[PatchRow]:
    """The patches named one by one, or all that words find; never both, never none."""
    if bool(patches) == (matching is not None):
        hint = f"librarian {verb_said} PATCH..., or: librarian {verb_said} --matching WORDS"
        raise BadInput("Which patches?", hint)
    if matching is None:
        return find_patches(library, patches, trash=trash)
    return library.rows(_matching(library, matching, trash=trash))


def _matching(library: Library, words: str, *, trash: bool = False) -> list[int]:
    """All that these words find. Raises BadInput when that is nothing, or when a part of them was not understood:
    what was not asked for must not be changed."""
    found = library.find(words, trash=trash)
    if found.problems:
        raise BadInput(problem_sentence(words, found.problems[0]), "Nothing was changed.")
    if not found.ids:
        raise BadInput(f"No patch matches “{words}”.", "Nothing was changed.")
    return list(found.ids)


def _step(here: Here, label: str | None, following: str | None, said: str, nothing: str) -> Exit:
    here.answer(answers.Step(step=label, next=following), f"{said}: {clean(label)}" if label else nothing)
    return Exit.OK if label else Exit.COULD_NOT


def _tags(
    here: Here,
    words: Sequence[str],
    matching: str | None,
    said: str,
    change: Callable[[Library, list[int], list[str]], None],
) -> None:
    given = list(words)
    reference = None if matching is not None else (given.pop(0) if given else None)
    if not given or (matching is None and reference is None):
        hint = f"librarian {here.verb} PATCH TAG..., or: librarian {here.verb} --matching WORDS TAG..."
        raise BadInput("Which patch, and which tag?", hint)
    with here.opened() as library:
        ids = [find_patch(library, reference).id] if reference is not None else _matching(library, matching or "")
        change(library, ids, given)
        names = _names([row.name for row in library.rows(ids[:3])], len(ids))
        _done(here, library, ids, f"{said} {', '.join(given)}: {names}")


def _done(here: Here, library: Library, ids: Sequence[int], did: str) -> None:
    rows = library.rows(ids)
    here.answer(answers.Done(patches=[patch_answer(row) for row in rows], did=did), f"{clean(did)}.")


def _names(names: Sequence[str], count: int | None = None) -> str:
    shown = ", ".join(f"“{name}”" for name in names[:3])
    more = (count if count is not None else len(names)) - min(3, len(names))
    return f"{shown} and {more} more" if more else shown
