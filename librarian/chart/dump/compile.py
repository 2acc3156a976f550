"""From the models to the codec: once for a chart, everything else is look-ups."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from librarian.chart.dump.codec import DumpCodec
from librarian.chart.dump.frame import FrameCodec
from librarian.chart.dump.layout import LayoutCodec
from librarian.chart.dump.message import FormCodec, MessageCodec
from librarian.chart.dump.plan import Dumps, MessagePlan, make_plan
from librarian.chart.dump.specs import AddressRule, ParameterSpec


def compile_dumps(
    dumps: Dumps,
    parameters: Mapping[str, ParameterSpec],
    address: AddressRule,
    display: Mapping[str, Callable[[int], str]] | None = None,
) -> DumpCodec:
    """The codec of a chart without problems (`check` first). `display`: parameter id -> text of a value."""
    plan = make_plan(dumps, parameters, address)
    if plan.problems:
        raise ValueError(f"a chart with faults was compiled: {plan.problems[0]}")
    layouts = {name: LayoutCodec(name, places) for name, places in plan.places.items()}
    sizes = {name: layout.size for name, layout in layouts.items()}
    messages = {name: _message(made, layouts, sizes) for name, made in plan.messages.items()}
    return DumpCodec(messages, layouts, address, display or {})


def _message(made: MessagePlan, layouts: Mapping[str, LayoutCodec], sizes: Mapping[str, int]) -> MessageCodec:
    compiled: dict[int, FrameCodec] = {}
    forms = {}
    for form, frames in made.frames.items():
        codecs = tuple(compiled.setdefault(id(frame), FrameCodec(frame, sizes)) for frame in frames)
        forms[form] = FormCodec(made.name, form, codecs)
    return MessageCodec(made.name, made.message, forms, layouts)
