"""Two sets of values laid side by side through a chart: equal, different, or unknown on one side.

The same arithmetic serves two versions, two patches, a stored sound and the panel now, and the reading back
after a recall. Values are compared as the exact integers they travel as; texts are in the chart's display units.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from librarian.chart import carry
from librarian.errors import Refused
from librarian.messages import Comparison, Difference, State, Values, Version

if TYPE_CHECKING:
    from librarian.chart import Chart, Parameter

UNKNOWN = "unknown"
STEPPED_KINDS = frozenset({"stepped", "switch"})


def compare(chart: Chart, a: Values, b: Values, *, with_setup: bool = False) -> Comparison:
    """Compare `a` with `b` for every parameter of the chart, in panel order.

    A parameter that is absent from either side is 'unknown', never equal. Setup parameters are rows as well and
    count only `with_setup`. Ids that the chart does not have are not compared: `strangers` names them.
    """
    rows = tuple(_difference(parameter, a.get(name), b.get(name)) for name, parameter in chart.parameters.items())
    return Comparison(rows, with_setup)


def compare_versions(chart: Chart, a: Version, b: Version, *, with_setup: bool = False) -> Comparison:
    """Compare two stored versions of the same chart. One that another revision explains is carried over for it.

    Raises Refused if either belongs to another chart, or to a revision that the chart's history does not reach: their
    values mean different things.
    """
    for version in (a, b):
        if version.chart != chart.id:
            raise Refused(
                f"A sound of chart “{version.chart}” cannot be compared through chart “{chart.id}”.",
                "Choose two sounds of the same instrument.",
            )
    sides = (version if version.revision == chart.revision else carry(version, chart).version for version in (a, b))
    return compare(chart, *(side.values for side in sides), with_setup=with_setup)


def strangers(chart: Chart, *sides: Values) -> tuple[str, ...]:
    """Ids that have a value on some side but are no parameter of this chart revision, sorted."""
    return tuple(sorted({name for side in sides for name in side if name not in chart.parameters}))


def share_between(parameter: Parameter, a: int, b: int) -> float:
    """|B - A| as share of the range, 0 to 1; a stepped parameter or switch counts as 1 when it differs."""
    if a == b:
        return 0.0
    if parameter.kind in STEPPED_KINDS:
        return 1.0
    width = parameter.high - parameter.low
    return min(1.0, abs(b - a) / width) if width > 0 else 1.0


def _difference(parameter: Parameter, a: int | None, b: int | None) -> Difference:
    state: State = "unknown"
    share, text = 0.0, ""
    if a is not None and b is not None:
        state = "equal" if a == b else "different"
        share = share_between(parameter, a, b)
        text = parameter.difference(a, b) if a != b else ""
    return Difference(
        parameter=parameter.id,
        section=parameter.section,
        state=state,
        a=a,
        b=b,
        text_a=_text(parameter, a),
        text_b=_text(parameter, b),
        text_difference=text,
        share=share,
        sound=parameter.sound,
    )


def _text(parameter: Parameter, value: int | None) -> str:
    return UNKNOWN if value is None else parameter.display(value)
