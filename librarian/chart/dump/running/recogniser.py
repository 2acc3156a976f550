"""Which message of the chart some bytes are: by constants, device, numbers and length."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from librarian.chart.dump.results import Form
from librarian.chart.dump.running.frame import FrameCodec
from librarian.chart.dump.running.message import FormCodec, MessageCodec
from librarian.chart.dump.running.single import SingleForm
from librarian.chart.dump.running.spread import SpreadForm
from librarian.messages import Address

MOST_KNOWN = 1024
_ORDER: tuple[Form, ...] = ("answer", "write", "request")


@dataclass(frozen=True, slots=True)
class Match:
    """What a message is. `frame`: the frame to read it with, where the form has one for its length."""

    form: FormCodec | SpreadForm | SingleForm
    frame: FrameCodec | None


class Recogniser:
    """All forms of all messages, ready to compare."""

    def __init__(self, messages: Mapping[str, MessageCodec]) -> None:
        self._messages = messages
        self._whole: list[tuple[FormCodec, FrameCodec]] = list(self._whole_frames())
        self._varying = list({id(form): form for form, _frame in self._whole if form.varying}.values())
        self._by_size: dict[int, list[tuple[FormCodec, FrameCodec]]] = {}
        for form, frame in self._whole:
            self._by_size.setdefault(frame.size, []).append((form, frame))
        self._headers = {
            size: max(frame.header_size for _form, frame in several) for size, several in self._by_size.items()
        }
        self._known: dict[tuple[bytes, int, Address | None], Match] = {}
        self._spreads = [
            each for wanted in _ORDER for message in messages.values() for each in message.different_spreads(wanted)
        ]
        self._singles = [
            message.singles[wanted] for wanted in _ORDER for message in messages.values() if wanted in message.singles
        ]

    def _whole_frames(self) -> Iterator[tuple[FormCodec, FrameCodec]]:
        """Every frame once: answers, then writes that look different, then requests."""
        for wanted in _ORDER:
            for message in self._messages.values():
                form = message.forms.get(wanted)
                answers = message.forms["answer"].frames if wanted == "write" and "answer" in message.forms else ()
                for frame in form.frames if form is not None else ():
                    if form is not None and frame not in answers:
                        yield form, frame

    def frames(self) -> list[FrameCodec]:
        """All frames, for saying why nothing fits."""
        singles = [frame for form in self._singles for frame in form.frames.values()]
        return [frame for _form, frame in self._whole] + [form.header for form in self._spreads] + singles

    def match(self, raw: bytes, address: Address | None) -> Match | None:
        """The form that fits best, None when none begins like it. `address` None: of any device."""
        size = len(raw)
        if size in self._headers:
            # the same header decides in the same way: a capture brings thousands of the same kind
            key = (raw[: self._headers[size]], size, address)
            if key in self._known:
                return self._known[key]
            for form, frame in self._by_size[size]:
                if frame.begins(raw) and not frame.number_faults(raw) and self._for(form, frame, raw, address):
                    if len(self._known) >= MOST_KNOWN:
                        self._known.clear()
                    self._known[key] = Match(form, frame)
                    return self._known[key]
        for form in self._varying:
            for frame in form.fitting(raw):
                if frame.begins(raw) and not frame.number_faults(raw) and self._for(form, frame, raw, address):
                    return Match(form, frame)
        taking = [form for form in self._spreads if form.takes(raw, address)]
        spread = min(taking, key=lambda form: form.odd(raw), default=None)
        single = self.single(raw, address, requests=True)
        if spread is not None and (single is None or spread.is_piece(raw)):
            return Match(spread, spread.frame_of(raw))
        if single is not None:
            found = single.frame_of(raw)
            return Match(single, found[1] if found is not None else None)
        return self._nearest(raw, address)

    def reach(self, size: int) -> int:
        """How many bytes at the beginning tell which message of this length it is; 0 where none is so long."""
        return self._headers.get(size, 0)

    def decided(self, raw: bytes, address: Address, reach: int, besides: str = "") -> bool:
        """Whether its length and first `reach` bytes decide what `match` says of a message, or that it is none.

        They do not where it may be of a kind that is told by what stands later: of a length that varies, one of
        several, of a single parameter, or of a longer header. `besides`: a message of several that is known to be
        decided.
        """
        if self._headers.get(len(raw), reach + 1) <= reach and any(
            frame.begins(raw) and not frame.number_faults(raw) and self._for(form, frame, raw, address)
            for form, frame in self._by_size[len(raw)]
        ):
            return True
        later = [frame for form in self._varying for frame in form.frames]
        later += [frame for _form, frame in self._whole if frame.header_size > reach]
        for spread in (each for each in self._spreads if each.message != besides):
            later.append(spread.header)
            later += [each for each in (spread.begin, spread.end) if each is not None]
        later += [frame for form in self._singles for frame in form.frames.values() if frame.size == len(raw)]
        beginning = raw[:reach]
        return not any(
            frame.begins(beginning) and (frame.header_size > reach or frame.device_fits(raw, address))
            for frame in later
        )

    def single(self, raw: bytes, address: Address | None, *, requests: bool = False) -> SingleForm | None:
        """The single-parameter form that `raw` is, also where it could be a piece of a larger dump."""
        fitting = (form for form in self._singles if form.fits(raw, address))
        return next((form for form in fitting if requests or form.form != "request"), None)

    def _nearest(self, raw: bytes, address: Address | None) -> Match | None:
        """The form whose header fits a message that is wrong in length or in a number."""
        best: tuple[tuple[int, int], Match] | None = None
        for form, frame in self._whole:
            if len(raw) >= frame.header_size and frame.begins(raw) and self._for(form, frame, raw, address):
                rank = (frame.number_faults(raw), abs(len(raw) - frame.size))
                if best is None or rank < best[0]:
                    best = rank, Match(form, frame)
        if best is not None:
            return best[1]
        return next((Match(form, form.frame_of(raw)) for form in self._spreads if form.begins(raw, address)), None)

    def _for(self, form: FormCodec, frame: FrameCodec, raw: bytes, address: Address | None) -> bool:
        """For this instrument; and where the frame (a request) names an address, one of this message."""
        if address is not None and not frame.device_fits(raw, address):
            return False
        if not any(number.role == "address" for number in frame.numbers):
            return True
        spread = self._messages[form.message].spread
        return spread is None or spread.addressed(frame, raw, 1, address)
