"""What the program learns of an instrument by itself is kept, and is no step that a person would take back."""

from __future__ import annotations

from pathlib import Path

from librarian.chart import load, shipped
from librarian.collection import Library
from librarian.messages import Address


def test_firmware_address_and_pace_are_noted_without_a_step(library_path: Path) -> None:
    chart = load(shipped()["fogbell"])
    with Library.open(library_path) as library:
        made = library.add_instrument(chart, "Pedal", Address(0))
        label, stamp = library.undo_label(), library.stamp()
        library.note_instrument(made, firmware="1.2", address=Address(3, 17), pace="{}")
        row = library.instrument(made)
        assert (row.firmware, row.address, row.pace) == ("1.2", Address(3, 17), "{}")
        assert library.undo_label() == label
        assert library.stamp() != stamp, "another program has to see it"
        again = library.stamp()
        library.note_instrument(made, firmware="1.2")
        assert library.stamp() == again, "nothing new is no change"
