"""The table of what the standard's paper chart tells besides the parameters."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from librarian.chart.language.table import Table

Short = Annotated[str, Field(max_length=80)]


class RowTable(Table):
    """One line of the paper chart. o is yes, x is no, ***** where a cell has no meaning; or a range, such as 0-127."""

    transmitted: Short = Field(default="", description="What the instrument sends.", examples=["o"])
    recognized: Short = Field(default="", description="What the instrument obeys.", examples=["0-127"])
    remarks: Short = Field(default="", description="Remark.", examples=["9nH v=1-127"])


def _row(description: str, *, transmitted: str = "o", recognized: str = "o") -> RowTable | None:
    example = {"transmitted": transmitted, "recognized": recognized}
    found: RowTable | None = Field(default=None, description=description, examples=[example])
    return found


class ImplementationTable(Table):
    """Lines of the standard's implementation chart (version 1) that do not follow from the rest of a chart.

    A line that is left out is printed as not stated. Channel, control change, program change and SysEx are filled in.
    """

    kind: Short = Field(default="", description="Kind of instrument, printed in brackets.", examples=["synthesizer"])
    version: Short = Field(default="", description="Version that is printed.", examples=["2.1"])
    date: Short = Field(default="", description="Date that is printed.", examples=["2026-03-12"])
    channel_changed: RowTable | None = _row("Channels that can be set.", transmitted="1-16", recognized="1-16")
    mode_default: RowTable | None = _row("Mode at power-up, 1 to 4.", transmitted="3", recognized="3")
    mode_messages: RowTable | None = _row("Mode messages used.", transmitted="x", recognized="x")
    mode_altered: RowTable | None = _row("Substitute for a mode it does not have.", transmitted="*****")
    note_number: RowTable | None = _row("Range of note numbers.", transmitted="x", recognized="0-127")
    true_voice: RowTable | None = _row("Range that really sounds.", transmitted="*****", recognized="24-108")
    note_on: RowTable | None = _row("Velocity of note on.", transmitted="x", recognized="o")
    note_off: RowTable | None = _row("Velocity of note off.", transmitted="x", recognized="x")
    key_aftertouch: RowTable | None = _row("Aftertouch of each key.", transmitted="x", recognized="x")
    channel_aftertouch: RowTable | None = _row("Aftertouch of the channel.", transmitted="x", recognized="o")
    pitch_bend: RowTable | None = _row("Pitch bend.", transmitted="x", recognized="o")
    program_change: RowTable | None = _row("Range of program numbers.", transmitted="0-63", recognized="0-63")
    true_program: RowTable | None = _row("Programs that exist.", transmitted="*****", recognized="0-63")
    song_position: RowTable | None = _row("Song position.", transmitted="x", recognized="x")
    song_select: RowTable | None = _row("Song select.", transmitted="x", recognized="x")
    tune: RowTable | None = _row("Tune request.", transmitted="x", recognized="o")
    clock: RowTable | None = _row("MIDI clock.", transmitted="x", recognized="o")
    commands: RowTable | None = _row("Start, continue, stop.", transmitted="x", recognized="x")
    local: RowTable | None = _row("Local on and off.", transmitted="x", recognized="o")
    all_notes_off: RowTable | None = _row("All notes off.", transmitted="x", recognized="o")
    active_sense: RowTable | None = _row("Active sensing.", transmitted="x", recognized="x")
    reset: RowTable | None = _row("System reset.", transmitted="x", recognized="x")
    all_sound_off: RowTable | None = _row("All sound off.", transmitted="x", recognized="o")
    reset_controllers: RowTable | None = _row("Reset all controllers.", transmitted="x", recognized="x")
    notes: Annotated[str, Field(max_length=2000)] = Field(default="", description="Free text at the foot.")
