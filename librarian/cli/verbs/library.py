"""The group `library`: where it is, whether it is whole, copies of it and back again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from librarian import collection
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.exits import Exit
from librarian.cli.here import Here, cell, table
from librarian.cli.sheets import shown_time
from librarian.cli.verb import verb
from librarian.collection import BackupRow, default_path

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The copy.")]


def add_to(app: typer.Typer) -> None:
    """Register the group `library`."""
    group = typer.Typer(help="The library file: where it is, check it, copy it.", no_args_is_help=True)
    verb(group, "path")(path)
    verb(group, "check")(check)
    verb(group, "backup")(backup)
    verb(group, "backups")(backups)
    verb(group, "go-back")(go_back)
    verb(group, "keep-backups")(keep_backups)
    verb(group, "rebuild")(rebuild)
    verb(group, "repair")(repair)
    app.add_typer(group, name="library")


def path(here: Here) -> None:
    """Say which file the library is, and how much is in it."""
    with here.opened(only_to_read=True) as library:
        found = answers.LibraryAbout(
            path=str(library.path),
            patches=library.total(),
            in_trash=library.total(trash=True),
            instruments=len(library.instruments()),
        )
    here.answer(
        found,
        clean(found.path),
        f"{found.patches} patches, {found.in_trash} in the trash, {found.instruments} instruments",
    )


def check(here: Here) -> Exit:
    """Check that the library is whole: the file, every reference, every byte kept, the index. Changes nothing."""
    with here.opened() as library:
        wrong = library.check()
        where = str(library.path)
    said = [clean(each) for each in wrong]
    whole, damaged = f"{clean(where)} is whole.", "Nothing was changed. Earlier copies: librarian library backups"
    answer = answers.LibraryChecked(path=where, whole=not wrong, wrong=list(wrong))
    here.answer(answer, *said, damaged if wrong else whole)
    return Exit.OK if not wrong else Exit.DIFFERS


def backup(here: Here, file: FileArgument) -> None:
    """Copy the library, in use or not, and prove that the copy is whole. Never replaces a file."""
    with here.opened() as library:
        made = library.back_up(file)
    here.answer(
        answers.Backups(folder=str(made.path.parent), backups=[_answer(made)]),
        f"{clean(str(made.path))}: {made.patches} patches, {made.size:,} bytes, checked.",
    )


def backups(here: Here) -> None:
    """List the copies that the program made by itself, newest first."""
    with here.opened(only_to_read=True) as library:
        folder, found = library.backup_folder, library.backups()
    made = table("Taken", "Why", "Patches", "Bytes", "File", right=(2, 3))
    for row in found:
        made.add_row(shown_time(row.taken), row.reason, str(row.patches), f"{row.size:,}", cell(row.path.name))
    answer = answers.Backups(folder=str(folder), backups=[_answer(row) for row in found])
    here.answer(answer, clean(str(folder)), made if found else "No copy yet.")


def go_back(here: Here, file: FileArgument) -> None:
    """Make the library what a copy holds. What it is now is copied first, and undo brings it back."""
    with here.opened() as library:
        before = library.restore_backup(file)
        patches = library.total()
        where = str(library.path)
    here.answer(
        answers.WentBack(path=where, patches=patches, before=str(before)),
        f"The library holds what {clean(str(file))} held: {patches} patches.",
        f"What it held before: {clean(str(before))}",
    )


def keep_backups(
    here: Here,
    folder: Annotated[Path | None, typer.Option("--folder", metavar="FOLDER", help="Where they go now.")] = None,
    number: Annotated[int | None, typer.Option("--number", metavar="COUNT", help="How many of them stay.")] = None,
) -> None:
    """Say where the copies go that the program makes by itself, and how many stay; or change that."""
    with here.opened() as library:
        library.keep_backups(folder, number)
        rule = answers.BackupRule(folder=str(library.backup_folder), number=library.backups_kept)
    here.answer(rule, f"The newest {rule.number} copies stay in {clean(rule.folder)}")


def rebuild(here: Here) -> None:
    """Make the index of words anew from the patches; that is all that a damaged index needs."""
    with here.opened() as library:
        count = library.rebuild_index()
        where = str(library.path)
    here.answer(answers.Rebuilt(path=where, indexed=count), f"{clean(where)}: {count} patches are in the new index.")


def repair(
    here: Here, into: Annotated[Path, typer.Argument(metavar="FILE", help="The new library; it must not exist.")]
) -> Exit:
    """Save what is readable of a damaged library into a new one, and say what is not. That one stays as it is."""
    damaged = here.library or default_path()
    done = collection.repair(damaged, into)
    answer = answers.Repaired(into=str(done.into), saved=done.saved, lost=done.lost)
    saved = f"{clean(str(done.into))}: {done.saved.get('patch', 0)} patches, {done.saved.get('version', 0)} versions."
    here.answer(answer, saved, *([clean(each) for each in done.lost] or ["Nothing was lost."]))
    return Exit.OK if not done.lost else Exit.DIFFERS


def _answer(row: BackupRow) -> answers.Backup:
    return answers.Backup(path=str(row.path), taken=row.taken, reason=row.reason, bytes=row.size, patches=row.patches)
