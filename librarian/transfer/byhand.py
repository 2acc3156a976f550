"""Capture without any request: a dump started on the instrument, or each control moved a little.

What the panel says is what is heard.
"""

from __future__ import annotations

import threading
from collections import deque

from librarian.errors import Refused
from librarian.messages import Message, Origin, Values, Version
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.capture import capture_sentence
from librarian.transfer.identify import refuse_stranger
from librarian.transfer.line import Line
from librarian.transfer.results import Captured
from librarian.transfer.unasked import Unasked, sent_by_itself
from librarian.wire.cable import CableLost

_LOOK_S = 0.05
# A sweep of one pot sends some hundred messages; so many are kept as received, the oldest go first.
_MOST_RECEIVED = 65_536


def capture_by_hand(
    line: Line,
    *,
    enough: threading.Event | None = None,
    settle_s: float = 0.3,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> Captured:
    """Listen until a dump has come, or every control that sends has been moved and rests for `settle_s`, or `enough`.

    Progress counts the parameters heard. The rest is unknown. Each value was heard, not confirmed: nothing can ask.
    A cable that is lost on the way ends it as `enough` does, and `Captured.broke_off` says so; with nothing heard yet
    it raises CableLost.
    Sends nothing but the acknowledgements that the chart has for packets. Raises Refused when nothing in the chart
    sends anything, WrongInstrument, Busy; Cancelled: nothing was kept.
    """
    with line.talk("capture by hand", cancel, progress) as talk:
        talk.state = "Nothing was kept."
        if line.identified is not None and line.identified.fits == "other instrument":
            refuse_stranger(line.identified)
        wanted = sending(line)
        dumps = Unasked(talk)
        name = ""
        dumped: tuple[bytes, ...] = ()
        heard: dict[str, int] = {}
        received: deque[bytes] = deque(maxlen=_MOST_RECEIVED)
        listener = line.chart.codec.listener(line.address)
        last_at = line.clock.now()
        broke_off = ""
        total = len(line.chart.parameters)
        talk.tell(0, total, "controls", None)
        while not (enough is not None and enough.is_set()):
            try:
                arrival = talk.next(line.clock.now() + _LOOK_S)
            except CableLost as lost:
                if not heard:
                    raise
                # Half an hour of turning knobs shall not go with a plug; nothing else of the cable is needed.
                broke_off = f"{lost} What was heard before is kept: {len(heard)} of {total} parameters."
                break
            now = line.clock.now()
            if arrival is None:
                if wanted and wanted <= set(heard) and now - last_at >= settle_s:
                    break
                continue
            if not isinstance(arrival, Message):
                continue
            if dumps.take(arrival.raw):
                if (whole := dumps.whole()) is not None:
                    dumped, decoded = whole
                    name = decoded.name
                    heard |= decoded.values
                    talk.tell(len(heard), total, "controls", None)
                    break
                continue
            found = listener.feed(arrival.raw, now)
            if not found and not listener.is_known(arrival.raw):
                talk.hear(arrival)
                continue
            received.append(arrival.raw)
            last_at = now
            for one in found:
                heard[one.parameter] = one.value
                line.moved(one.parameter, one.value, one.exact)
            talk.tell(len(heard), total, "controls", None)
        missing = tuple(each for each in line.chart.parameters if each not in heard)
        how = "dump started on the instrument" if dumped else "by hand"
        version = Version(
            chart=line.chart.id,
            revision=line.chart.revision,
            values=Values(heard),
            unknown=frozenset(missing),
            received=(*dumped, *received),
            origin=Origin("by hand", f"{how} on {line.port}"),
            name=name,
        )
        return Captured(
            version=version,
            known=len(heard),
            of=total,
            missing=missing,
            way=how,
            readings=1,
            bytes_in=talk.bytes_in,
            bytes_out=talk.bytes_out,
            seconds=talk.seconds,
            refused=(*dumps.refused, *(one.reason for one in talk.damaged)),
            sentence=capture_sentence(line, len(heard), total, missing),
            broke_off=broke_off,
        )


def sending(line: Line) -> frozenset[str]:
    """Ids of the parameters whose controls send something when they are moved.

    Raises Refused when there is none, and no dump that the instrument could send either.
    """
    way = next((way for way in line.chart.ways_in if way.kind == "hand"), None)
    found = frozenset(way.carries) if way is not None else frozenset(line.chart.codec.carried("instrument"))
    if not found and not sent_by_itself(line.chart):
        raise Refused(
            f"No control of {line.name} sends anything that its chart knows, so it cannot be captured by hand.",
            "Give its parameters bindings in the chart, or describe the dump that it sends.",
        )
    return found
