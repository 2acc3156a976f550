"""What is printed: the lines of the standard's form, version 1, and those of our own table of parameters.

MIDI 1.0 Detailed Specification 4.2.1, p. A-7 and A-8: four columns, o yes, x no; ***** where a cell has no meaning.
"""

from __future__ import annotations

from dataclasses import dataclass

from librarian.chart.chart import Chart
from librarian.chart.controllers.binding import Binding
from librarian.chart.language.implementation import ImplementationTable, RowTable
from librarian.chart.parameter import Parameter

NOT_STATED = "?"
FOOT = (
    "Mode 1: OMNI ON, POLY · Mode 2: OMNI ON, MONO · Mode 3: OMNI OFF, POLY · Mode 4: OMNI OFF, MONO",
    "o: Yes · x: No · ?: not stated in this chart",
)
_FORM: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    ("Mode", (("Default", "mode_default"), ("Messages", "mode_messages"), ("Altered", "mode_altered"))),
    ("Note Number", (("", "note_number"), ("True Voice", "true_voice"))),
    ("Velocity", (("Note ON", "note_on"), ("Note OFF", "note_off"))),
    ("After Touch", (("Key's", "key_aftertouch"), ("Ch's", "channel_aftertouch"))),
    ("Pitch Bend", (("", "pitch_bend"),)),
)
_FORM_BELOW: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    ("System Common", (("Song Pos", "song_position"), ("Song Sel", "song_select"), ("Tune", "tune"))),
    ("System Real Time", (("Clock", "clock"), ("Commands", "commands"))),
    (
        "Aux Messages",
        (
            ("All Sound OFF", "all_sound_off"),
            ("Reset All Controllers", "reset_controllers"),
            ("Local ON/OFF", "local"),
            ("All Notes OFF", "all_notes_off"),
            ("Active Sense", "active_sense"),
            ("Reset", "reset"),
        ),
    ),
)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the form. `function` is empty where it continues the one above."""

    function: str
    detail: str
    transmitted: str
    recognized: str
    remarks: str = ""


@dataclass(frozen=True, slots=True)
class ParameterLine:
    """One line of the table of parameters; all cells are texts for people."""

    parameter: str
    id: str
    values: str
    reads: str
    transmitted: str
    recognized: str
    takeover: str


def title(chart: Chart) -> str:
    """Head of the form: kind, model, date and version, as far as they are known."""
    told = chart.implementation
    kind = f"[{told.kind}] " if told.kind else ""
    version = told.version or f"chart revision {chart.revision}"
    return f"{kind}{chart.name} · " + (f"{told.date} · " if told.date else "") + f"version {version}"


def form_lines(chart: Chart) -> list[Line]:
    """All lines of the form, in the standard's order."""
    told = chart.implementation
    channel = str(chart.channel + 1)
    lines = [
        Line("Basic Channel", "Default", channel, channel),
        _told("", "Changed", told.channel_changed),
    ]
    if chart.channel_fixed and told.channel_changed is None:
        lines[-1] = Line("", "Changed", "x", "x", "fixed")
    lines += _form(told, _FORM)
    lines += _controllers(chart)
    lines += _programs(chart)
    lines.append(_sysex(chart))
    return lines + _form(told, _FORM_BELOW)


def _form(told: ImplementationTable, form: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]) -> list[Line]:
    lines: list[Line] = []
    for function, details in form:
        for index, (detail, key) in enumerate(details):
            lines.append(_told(function if index == 0 else "", detail, getattr(told, key)))
    return lines


def _told(function: str, detail: str, row: RowTable | None) -> Line:
    if row is None:
        return Line(function, detail, NOT_STATED, NOT_STATED)
    return Line(function, detail, row.transmitted or NOT_STATED, row.recognized or NOT_STATED, row.remarks)


def _controllers(chart: Chart) -> list[Line]:
    """One line for each controller number, then the ranges of RPN and NRPN."""
    numbers: dict[int, list[tuple[Parameter, Binding, str]]] = {}
    others: dict[str, list[tuple[Parameter, Binding]]] = {}
    for name in chart.order:
        parameter = chart.parameters[name]
        for binding in parameter.bindings:
            if binding.travels == "cc":
                numbers.setdefault(binding.number, []).append((parameter, binding, ""))
            elif binding.travels == "cc14":
                numbers.setdefault(binding.number, []).append((parameter, binding, " MSB"))
                numbers.setdefault(binding.partner, []).append((parameter, binding, " LSB"))
            elif binding.travels in {"rpn", "nrpn"}:
                others.setdefault(binding.travels, []).append((parameter, binding))
    lines = _asking(chart) + _bank_select(chart)
    lines += [Line("", str(number), "o", "o", f"selects: {name}") for name, number in chart.codec.selectors.items()]
    lines += [
        Line(
            "",
            str(number),
            *_marks([binding for _, binding, _ in users]),
            ", ".join(f"{_place(chart, parameter)}{half}" for parameter, _, half in users),
        )
        for number, users in sorted(numbers.items())
    ]
    for kind, pairs in sorted(others.items()):
        remark = f"{kind.upper()} {_numbers([binding.number for _, binding in pairs])}, see the parameters"
        lines.append(Line("", _selectors(kind), *_marks([binding for _, binding in pairs]), remark))
    if lines:
        lines.sort(key=lambda line: int(line.detail) if line.detail.isdigit() else 128)
        first = lines[0]
        lines[0] = Line("Control Change", first.detail, first.transmitted, first.recognized, first.remarks)
        return lines
    return [Line("Control Change", "", "x", "x")]


def _asking(chart: Chart) -> list[Line]:
    """Lines for the controllers that ask for a dump of controllers, and for those that select."""
    asked = [raw for raw in chart.codec.controller_request(chart.default_address) if raw[0] & 0xF0 == 0xB0]
    single = asked if len(asked) == 1 else []
    return [Line("", str(raw[1]), "x", "o", f"value {raw[2]} asks for all controllers") for raw in single]


def _program_bindings(chart: Chart) -> list[tuple[Parameter, Binding]]:
    """The parameters that travel as a program change."""
    return [(one, each) for one in chart.parameters.values() for each in one.bindings if each.travels == "program"]


def _bank_select(chart: Chart) -> list[Line]:
    """Lines for bank select, where programs are chosen with it."""
    programs = [binding for _one, binding in _program_bindings(chart)]
    halves = {binding.bank for binding in programs}
    if chart.memory is not None:
        halves.add(chart.memory.bank_select)
    used = [(0, "MSB")] if halves & {"msb", "both"} else []
    used += [(32, "LSB")] if halves & {"lsb", "both"} else []
    sent = "o" if any(binding.transmitted for binding in programs) else NOT_STATED
    return [Line("", str(number), sent, "o", f"Bank select {half}") for number, half in used]


def _selectors(kind: str) -> str:
    return "6, 38, 98, 99" if kind == "nrpn" else "6, 38, 100, 101"


def _numbers(numbers: list[int]) -> str:
    low, high = min(numbers), max(numbers)
    return str(low) if low == high else f"{low} to {high}"


def _marks(bindings: list[Binding]) -> tuple[str, str]:
    sent = any(binding.transmitted for binding in bindings)
    obeyed = any(binding.recognized for binding in bindings)
    return "o" if sent else "x", "o" if obeyed else "x"


def _place(chart: Chart, parameter: Parameter) -> str:
    return f"{chart.section_of(parameter.id).label}: {parameter.label}"


def _programs(chart: Chart) -> list[Line]:
    told = chart.implementation
    lines = [_told("Prog Change", "", told.program_change), _told("", "True #", told.true_program)]
    users = _program_bindings(chart)
    if users and told.program_change is None:
        sent, obeyed = (mark if mark == "x" else "0-127" for mark in _marks([binding for _one, binding in users]))
        lines[0] = Line("Prog Change", "", sent, obeyed, ", ".join(_place(chart, one) for one, _binding in users))
    if chart.memory is not None and told.true_program is None:
        last = min(chart.memory.programs, 128) - 1
        lines[1] = Line("", "True #", "*****", f"0-{last}", f"shown {chart.memory.shown(0)} to {_last(chart)}")
    return lines


def _last(chart: Chart) -> str:
    return chart.memory.shown(chart.memory.size - 1) if chart.memory is not None else ""


def _sysex(chart: Chart) -> Line:
    messages = chart.codec.messages.values()
    answers = chart.identity.family is not None  # it answers the universal identity request
    sent = answers or any("answer" in one.forms for one in messages)
    obeyed = answers or any({"write", "request"} & one.forms for one in messages)
    remark = ", ".join(one.label or one.name for one in messages if one.is_sysex)
    if chart.identity.manufacturer is not None:
        remark = f"ID {chart.identity.manufacturer.hex(' ').upper()}" + (f": {remark}" if remark else ": identity")
    return Line("System Exclusive", "", "o" if sent else "x", "o" if obeyed else "x", remark)


def parameter_lines(chart: Chart) -> list[tuple[str, list[ParameterLine]]]:
    """Section labels with the lines of their parameters, in panel order."""
    alone = chart.codec.single_ids
    return [
        (section.label, [_parameter(one, alone=one.id in alone) for one in section.parameters])
        for section in chart.sections
    ]


def _parameter(one: Parameter, *, alone: bool) -> ParameterLine:
    reads = (
        ", ".join(one.positions)
        if 0 < one.steps <= 16 and one.positions
        else (f"{one.display(one.low)} to {one.display(one.high)}")
    )
    return ParameterLine(
        parameter=one.label + ("" if one.sound else " (setup)"),
        id=one.id,
        values=f"{one.low} to {one.high}".replace("-", "−"),
        reads=reads,
        transmitted=_travels(one, transmitted=True, alone=alone),
        recognized=_travels(one, transmitted=False, alone=alone),
        takeover=one.takeover,
    )


def _travels(one: Parameter, *, transmitted: bool, alone: bool) -> str:
    ways = [binding.text for binding in one.bindings if (binding.transmitted if transmitted else binding.recognized)]
    if one.dumped:
        ways.append("dump")
    if alone:
        ways.append("SysEx")
    return ", ".join(ways) or "–"
