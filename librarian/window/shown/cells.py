"""What one control shows, derived from the chart and the facts: its drawing, texts, weight, plate, spoken name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from librarian.messages import Difference
from librarian.window.paint.controls import ControlState
from librarian.window.shown.chart_like import ChartLike, ParameterLike
from librarian.window.shown.spoken import spoken
from librarian.window.shown.state import Shown

Tone = Literal["ink2", "b", "live"]
CellState = Literal["", "equal", "different", "unknown", "left out"]
FEW_VALUES, ONE_STEP_OF = 32, 127
A_UNKNOWN, B_UNKNOWN = "A unknown", "B unknown"


@dataclass(frozen=True)
class Cell:
    """One control as it stands on the panel. `value`: the line under the label, in `tone`; `value_short`: what may
    stand there instead where it is too wide, or empty.

    `state`: '' when nothing is compared, else equal, different, unknown, or left out (setup). `moved`: the panel was
    heard and is off by more than a step.
    """

    id: str
    section: str
    label: str
    short: str
    control: ControlState
    value: str
    value_short: str
    value_bold: bool
    tone: Tone
    label_bold: bool
    plate: Literal["", "differs", "turn"]
    state: CellState
    moved: bool
    spoken_name: str


def steps_of(parameter: ParameterLike) -> int:
    """How many positions the control has, 0 when it is continuous."""
    if parameter.kind == "continuous":
        return 0
    return len(parameter.positions) or parameter.high - parameter.low + 1


def centre_of(parameter: ParameterLike) -> float:
    """Where a bipolar control's zero stands in its range."""
    if parameter.low < 0 < parameter.high:
        return parameter.share(0)
    middle = parameter.low + parameter.high
    for value in (middle // 2, (middle + 1) // 2):
        if parameter.physical(value) == 0:
            return parameter.share(value)
    return 0.5


def is_off(parameter: ParameterLike, stored: int, now: int) -> bool:
    """True when the panel stands elsewhere by more than one step of what a knob can send."""
    values = parameter.high - parameter.low
    if parameter.kind in {"stepped", "switch"} or values < FEW_VALUES:
        return stored != now
    return abs(stored - now) > max(1, values // ONE_STEP_OF)


def cell_of(parameter: ParameterLike, section: str, shown: Shown, difference: Difference | None) -> Cell:
    """One control of the panel. `difference`: its row of the comparison, None when nothing is compared."""
    a = None if shown.a is None else shown.a.get(parameter.id)
    b = None if shown.b is None else shown.b.get(parameter.id)
    now = shown.now.get(parameter.id)
    moved = now is not None and a is not None and is_off(parameter, a, now)
    left_out = difference is not None and shown.comparison is not None and not (
        difference.sound or shown.comparison.with_setup
    )
    different = difference is not None and difference.state == "different" and not left_out
    guiding = shown.turning and parameter.sound and a is not None
    turn = guiding and moved and parameter.id not in shown.agreed
    agrees = guiding and now is not None and not turn
    control = ControlState(
        kind=parameter.kind,
        steps=steps_of(parameter),
        a=None if a is None else parameter.share(a),
        b=None if b is None or (left_out and b == a) else parameter.share(b),
        now=parameter.share(now) if now is not None and (moved or a is None) and not agrees else None,
        centre=centre_of(parameter) if parameter.kind == "bipolar" else 0.5,
        comparing=shown.comparing,
        b_missing=shown.comparing and b is None and not left_out,
        differs=different,
        turn=turn,
        agrees=agrees,
        changed=parameter.id in shown.changed and not shown.turning,
        setup=not parameter.sound,
        locked=parameter.id in shown.locked,
        not_heard=guiding and now is None,
        left_alone=shown.turning and not parameter.sound,
    )
    value, bold, tone = _value(parameter, a, b, difference, control, left_out=left_out)
    state: CellState = "" if difference is None else "left out" if left_out else difference.state
    return Cell(
        id=parameter.id, section=section, label=parameter.label, short=parameter.short, control=control,
        value=value, value_short="unknown" if value in {A_UNKNOWN, B_UNKNOWN} else "", value_bold=bold, tone=tone,
        label_bold=different or turn or control.changed or (moved and not agrees),
        plate="differs" if different else "turn" if turn else "",
        state=state,
        moved=moved,
        spoken_name=_spoken_name(parameter, section, shown, difference, control, left_out=left_out),
    )


def _value(
    parameter: ParameterLike, a: int | None, b: int | None, difference: Difference | None, control: ControlState,
    *, left_out: bool,
) -> tuple[str, bool, Tone]:
    if control.turn and control.a is not None and control.now is not None:
        return _direction(parameter, control.a, control.now), True, "live"
    if control.not_heard:
        return "move it", False, "ink2"
    if control.agrees or control.left_alone:
        return ("setup" if control.left_alone else ""), False, "ink2"
    if control.differs and difference is not None and b is not None:
        # Where a difference cannot be counted the second sound's position says more than "differs".
        by_name = parameter.kind in {"stepped", "switch"} or difference.text_difference in {"", "differs"}
        return (parameter.display(b) if by_name else difference.text_difference), True, "b"
    if difference is not None and not left_out and (a is None) != (b is None):
        return (A_UNKNOWN if a is None else B_UNKNOWN), True, "ink2"
    if a is None:
        return "unknown", True, "ink2"
    return parameter.display(a), False, "ink2"


def _direction(parameter: ParameterLike, stored: float, now: float) -> str:
    if parameter.kind == "switch":
        return "up" if stored > now else "down"
    return "right" if stored > now else "left"


def _spoken_name(
    parameter: ParameterLike, section: str, shown: Shown, difference: Difference | None, control: ControlState,
    *, left_out: bool,
) -> str:
    parts = [section, parameter.label]
    a = None if shown.a is None else shown.a.get(parameter.id)
    if a is None:
        parts.append("A unknown, never received" if shown.comparing else "unknown, never received")
    else:
        parts.append(f"A {spoken(parameter.display(a))}")
    if shown.b is not None:
        b = shown.b.get(parameter.id)
        parts.append("B unknown, never received" if b is None else f"B {spoken(parameter.display(b))}")
        if left_out:
            parts.append("setup, left out")
        elif difference is not None and difference.state == "different":
            text = difference.text_difference
            parts.append("differs" if text in {"", "differs"} else f"differs by {spoken(text)}")
        elif difference is not None and difference.state == "equal":
            parts.append("equal")
    now = shown.now.get(parameter.id)
    if now is not None and control.now is not None:
        parts.append(f"panel now {spoken(parameter.display(now))}")
    if control.not_heard:
        parts.append("not heard yet, move it a little")
    if control.turn and control.a is not None and control.now is not None:
        parts.append(f"turn {_direction(parameter, control.a, control.now)}")
    if control.agrees:
        parts.append("agrees with the panel")
    if control.changed:
        parts.append("changed")
    if control.locked:
        parts.append("locked")
    if control.setup and not left_out:
        parts.append("setup")
    return ", ".join(parts)


def cells_of(chart: ChartLike, shown: Shown) -> dict[str, Cell]:
    """Every control of the chart by parameter id, in panel order."""
    rows = {row.parameter: row for row in shown.comparison.rows} if shown.comparison else {}
    made: dict[str, Cell] = {}
    for section in chart.sections:
        for parameter in section.parameters:
            made[parameter.id] = cell_of(parameter, section.label, shown, rows.get(parameter.id))
    return made
