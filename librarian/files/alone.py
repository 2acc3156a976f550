"""One sound in a bundle of its own, without the library that it belongs to: for when that takes nothing."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from librarian.chart import Chart
from librarian.collection import InstrumentRow, Library
from librarian.errors import OutsideProblem
from librarian.files.bundle import writing
from librarian.messages import Version


def save_alone(
    path: Path, chart: Chart, instrument: InstrumentRow, name: str, version: Version, *, tags: tuple[str, ...] = (),
    note: str = "", replace: bool = False,
) -> None:  # fmt: skip
    """Write a bundle with this sound, its instrument and its chart. Raises Refused (it exists), OutsideProblem."""
    try:
        with TemporaryDirectory() as folder, Library.open(Path(folder) / "one.library") as library:
            number = library.add_instrument(chart, instrument.name, instrument.address)
            library.keep(number, name, version, list(tags), note)
            writing.write(library, path, None, replace=replace)
    except OSError as error:
        raise OutsideProblem(
            f"{path} cannot be written: {error.strerror or error}.", "Make room on the disk, or choose another place."
        ) from error
