"""From the models to the codec: once for a chart, everything else is look-ups."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from librarian.chart.dump.codec import DumpCodec
from librarian.chart.dump.planning.plan import Dumps, MessagePlan, make_plan
from librarian.chart.dump.planning.plan_spread import SpreadPlan
from librarian.chart.dump.results import Form
from librarian.chart.dump.running.frame import FrameCodec
from librarian.chart.dump.running.handshake import Handshake
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.running.message import FormCodec, MessageCodec
from librarian.chart.dump.running.single import SingleForm
from librarian.chart.dump.running.spread import SpreadForm
from librarian.chart.dump.running.stream import Stream
from librarian.chart.dump.running.varying import VaryingForm
from librarian.chart.dump.specs import AddressRule, ParameterSpec
from librarian.errors import BadInput


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
    varying: dict[int, VaryingForm] = {}
    forms: dict[Form, FormCodec] = {}
    for form, frames in made.frames.items():
        codecs = tuple(compiled.setdefault(id(frame), FrameCodec(frame, sizes)) for frame in frames)
        several = made.varying.get(form, ())
        for each in several:
            if id(each) not in varying:
                varying[id(each)] = VaryingForm(each, layouts, sizes)
        forms[form] = FormCodec(made.name, form, codecs, tuple(varying[id(each)] for each in several))
    spread: dict[int, tuple[SpreadForm, ...]] = {}
    spreads: dict[Form, tuple[SpreadForm, ...]] = {}
    for form, plans in made.spreads.items():
        if id(plans) not in spread:
            spread[id(plans)] = tuple(_spread(made, form, plan, sizes) for plan in plans)
        spreads[form] = spread[id(plans)]
    singles = {form: SingleForm(made.name, single, layouts.get(single.layout)) for form, single in made.singles.items()}
    own = made.message.handshake
    handshake = None
    if own is not None:
        handshake = Handshake(own, {key: FrameCodec(frame, sizes) for key, frame in made.handshake.items()})
    return MessageCodec(made.name, made.message, forms, spreads, singles, layouts, handshake)


def _spread(made: MessagePlan, form: Form, plan: SpreadPlan, sizes: Mapping[str, int]) -> SpreadForm:
    def lay_out(size: int) -> FrameCodec:
        frame = plan.frame(size)
        if frame is None:  # the same frame was laid out with another size when the chart was checked
            raise BadInput(f"A message of the {made.name} dump cannot have {size} data bytes.")
        return FrameCodec(frame, sizes)

    begin = FrameCodec(plan.begin, sizes) if plan.begin is not None else None
    end = FrameCodec(plan.end, sizes) if plan.end is not None else None
    stream = Stream(plan.part_name, FrameCodec(plan.payload, sizes))
    return SpreadForm(made.name, form, plan.version, stream, plan.cutting, lay_out, begin, end)
