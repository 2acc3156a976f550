"""What is allowed but deserves a second look. A chart with cautions loads; they are told with the faults of others."""

from __future__ import annotations

from librarian.chart.check.parameters import span_of
from librarian.chart.controllers.binding import Binding, compile_binding
from librarian.chart.language.flat import Flat
from librarian.chart.language.trouble import Trouble

_RESET = "Reset All Controllers sets it back"  # RP-015
_PEDAL = "it is a pedal, and a foot on it changes the sound while it is captured"  # MIDI 1.0, 4.2.1 p.12
_MIX = "it belongs to the mix or the player, and other programs send it"  # RP-015 leaves them alone
_NOTE = "it says something about the next note"  # MIDI 1.0, 4.2.1 p.16; CA-031
_CARE = {
    **dict.fromkeys((1, 11), _RESET),
    **dict.fromkeys(range(64, 70), _PEDAL),
    **dict.fromkeys((7, 10, 91, 92, 93, 94, 95), _MIX),
    **dict.fromkeys((84, 88), _NOTE),
}


def check_cautions(flat: Flat, trouble: Trouble) -> None:
    """Note controllers that other things change too, and parameters that recall cannot set exactly."""
    for one in flat.parameters:
        if one.table.setup:
            continue
        low, high = span_of(one.table) or (0, 1)
        bindings: list[Binding] = []
        for number, table in enumerate(one.table.bindings):
            binding = compile_binding(table, one.table.kind, low, high)
            bindings.append(binding)
            numbers = {"cc": (binding.number,), "cc14": (binding.number, binding.partner)}.get(binding.travels, ())
            for controller in numbers:
                if controller in _CARE:
                    trouble.add(
                        (*one.path, "bindings", number, binding.travels),
                        f"Controller {controller} as a sound parameter: {_CARE[controller]}.",
                        "Nothing needs to be changed if the instrument uses it so.",
                    )
        sent = [binding for binding in bindings if binding.recognized]
        if sent and not any(binding.exact for binding in sent):
            trouble.add(
                (*one.path, "bindings"),
                f"“{one.table.id}” has {high - low + 1} values, and none of its bindings carries them all: by "
                "controllers it is set only near its value.",
                "Add an nrpn or cc14 binding if the instrument has one.",
            )
