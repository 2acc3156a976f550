"""Several threads and several programs at one library: nothing is lost, nobody is told of locks."""

from __future__ import annotations

import subprocess
import sys
import textwrap
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from librarian.collection import BusyLibrary, Library, LibraryProblem
from librarian.collection.sqlite import connections
from librarian.errors import Refused
from tests.jackd import bound


def test_threads_share_one_library(library: Library, lantern: int, any_sound) -> None:
    shared = library.keep(lantern, "Shared", any_sound(0))
    library.warm()
    stop = threading.Event()

    def look() -> None:
        while not stop.is_set():
            found = library.find("mine")
            rows = library.rows(found.ids)
            assert len(rows) == len(found.ids)
            library.reasons(found, found.ids[:5])
            library.tag_counts(found)
            library.complete("mi")

    def write(worker: int) -> None:
        for number in range(12):
            patch = library.keep(lantern, f"Mine {worker} {number}", any_sound(worker * 100 + number))
            library.tag([patch, shared], add=[f"w{worker}/{number}"])

    with ThreadPoolExecutor(8) as pool:
        readers = [pool.submit(look) for _ in range(2)]
        for done in [pool.submit(write, worker) for worker in range(4)]:
            done.result(timeout=60)
        stop.set()
        for reader in readers:
            reader.result(timeout=60)
    assert library.total() == 49
    # Every writer added its tags to the one patch; none took another's away.
    assert len(library.patch(shared).tags) == 48
    assert library.check() == ()


def test_a_block_of_one_thread_holds_only_its_own_changes(library: Library, lantern: int, any_sound) -> None:
    begun, finished = threading.Event(), threading.Event()
    seen: list[int] = []

    def other() -> None:
        begun.wait(10)
        seen.append(library.total())
        finished.set()
        library.keep(lantern, "Other thread", any_sound(2))

    thread = threading.Thread(target=other)
    thread.start()
    with library.together("Two at once"):
        library.keep(lantern, "First", any_sound(1))
        begun.set()
        assert finished.wait(10)
        assert library.total() == 1
    thread.join(20)
    assert seen == [0]
    assert library.undo() == "Keep “Other thread”"
    assert library.undo() == "Two at once"


PROGRAM = """
    import sys
    from pathlib import Path
    from librarian.collection import Library
    with Library.open(Path(sys.argv[1])) as library:
        mine = int(sys.argv[2])
        for number in range(40):
            library.tag([1], add=[f"p{mine}/{number}"])
            library.rename(2, f"Program {mine}, {number}")
            assert library.find("program").ids == [2]
            if number % 10 == 9:
                library.undo()
    print("done")
"""


def test_programs_share_one_library(library: Library, lantern: int, any_sound) -> None:
    for number in range(2):
        library.keep(lantern, f"Sound {number}", any_sound(number))
    programs = [
        subprocess.Popen(
            bound([sys.executable, "-c", textwrap.dedent(PROGRAM), str(library.path), str(number)]),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(2)
    ]
    stamps = {library.stamp()}
    for program in programs:
        while program.poll() is None:
            stamps.add(library.stamp())
            assert len(library.find().ids) == 2
        out, err = program.communicate(timeout=60)
        assert (out, err) == ("done\n", "")
    assert len(stamps) > 2
    assert library.check() == ()
    # Undo takes back the last step of whichever program it was; of 80 tags at most the 8 undone ones may be gone.
    assert len(library.patch(1).tags) >= 72


def test_waiting_ends_with_a_sentence(library: Library, lantern: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "PATIENCE_S", 0.2)
    path = library.path
    library.close()
    from librarian.collection.opening import Store, sqlite

    impatient = Library(Store(path, sqlite.open_engine(path, patience_s=0.1)))
    with Library.open(path) as other, other.together("Long import"):
        other.add_instrument(_Tiny, "Other", _address())
        with pytest.raises(BusyLibrary, match="Another program has been writing") as caught:
            impatient.set_setting("x", 1)
        assert impatient.total() == 0
    assert "locked" not in f"{caught.value}{caught.value.hint}"
    impatient.set_setting("x", 1)
    assert impatient.setting("x") == 1
    impatient.close()


class _Tiny:
    id, revision, name, text, parameters = "tiny", 1, "Tiny", "tiny", {}


def _address():
    from librarian.messages import Address

    return Address()


def test_undo_waits_for_the_end_of_a_change(library: Library) -> None:
    with library.together("A"), pytest.raises(Refused, match="in the middle"):
        library.undo()
    with library.together("A"), pytest.raises(Refused, match="in the middle"):
        library.empty_trash()


def test_a_closed_library_says_so(library: Library) -> None:
    library.close()
    library.close()
    with pytest.raises((Refused, LibraryProblem), match="is closed"):
        library.total()


def test_what_was_seen_in_a_change_that_came_to_nothing_is_forgotten(library: Library, lantern: int, any_sound) -> None:
    kept = library.keep(lantern, "Kept", any_sound(0), ["before"])
    library.warm()

    class StoppedError(Exception):
        pass

    with pytest.raises(StoppedError), library.together("Nothing in the end"):  # noqa: PT012 - the block is what is tested
        library.keep(lantern, "Never", any_sound(1), ["phantom"])
        library.delete([kept])
        assert [row.name for row in library.rows(library.find().ids)] == ["Never"]
        assert library.tag_counts() == [("phantom", 1)]
        assert library.find("tag:phantom").problems == ()
        assert len(library.value_table(library.instrument(lantern).chart).ids) == 1
        assert [each.text for each in library.complete("phan")][-1] == "phantom"
        raise StoppedError
    # The next change gets the number that the one before had.
    other = library.keep(lantern, "Other", any_sound(2))
    assert set(library.find().ids) == {kept, other}
    assert list(library.find("kept").ids) == [kept]
    assert library.tag_counts() == [("before", 1)]
    assert library.find("tag:phantom").problems != ()
    assert len(library.value_table(library.instrument(lantern).chart).ids) == 2
