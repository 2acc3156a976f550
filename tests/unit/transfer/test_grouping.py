"""NRPN and RPN in a row: fewer messages, and the receiver understands the same."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.controllers.receiver import ControllerReceiver
from librarian.transfer.grouping import grouped

Message = bytes


def _select(kind: str, number: int, channel: int = 0) -> tuple[Message, Message]:
    high, low = (99, 98) if kind == "nrpn" else (101, 100)
    return bytes((0xB0 | channel, high, number >> 7)), bytes((0xB0 | channel, low, number & 0x7F))


def _set(kind: str, number: int, value: int, channel: int = 0) -> tuple[Message, ...]:
    status = 0xB0 | channel
    return (*_select(kind, number, channel), bytes((status, 6, value >> 7)), bytes((status, 38, value & 0x7F)))


def _null(kind: str, channel: int = 0) -> tuple[Message, Message]:
    return _select(kind, 0x3FFF, channel)


def _hex(groups: tuple[tuple[Message, ...], ...]) -> list[str]:
    return [" ".join(raw.hex() for raw in group) for group in groups]


def test_the_upper_half_of_a_selection_is_sent_once() -> None:
    groups = [_set("nrpn", 257, 5), (*_set("nrpn", 258, 6), *_null("nrpn"))]
    assert _hex(grouped(groups)) == ["b06302 b06201 b00600 b02605", "b06202 b00600 b02606 b0637f b0627f"]


def test_a_selection_that_holds_is_not_sent_again_and_null_comes_at_the_end() -> None:
    control = (bytes((0xB0, 74, 3)),)
    groups = [
        (*_set("nrpn", 300, 5), *_null("nrpn")), control, (*_set("nrpn", 300, 6), *_null("nrpn")),
    ]  # fmt: skip
    assert _hex(grouped(groups)) == ["b06302 b0622c b00600 b02605", "b04a03", "b00600 b02606 b0637f b0627f"]


def test_data_entry_as_a_controller_of_its_own_is_kept_apart() -> None:
    groups = [(*_set("nrpn", 300, 5), *_null("nrpn")), (bytes((0xB0, 6, 9)),), (*_set("nrpn", 301, 6), *_null("nrpn"))]
    assert grouped(groups) == tuple(groups)


_VALUES = st.tuples(st.sampled_from(["nrpn", "rpn"]), st.integers(0, 400), st.integers(0, 16383), st.integers(0, 1))
_OTHER = st.tuples(st.sampled_from([1, 7, 74, 6, 38, 96]), st.integers(0, 127), st.integers(0, 1))


@given(st.lists(st.one_of(_VALUES, _OTHER), max_size=12))
def test_the_receiver_ends_with_the_same_values(wanted: list[tuple[object, ...]]) -> None:
    groups: list[tuple[Message, ...]] = []
    for one in wanted:
        if len(one) == 4:
            kind, number, value, channel = one
            group = _set(kind, number, value, channel)  # type: ignore[arg-type]
            groups.append((*group, *_null(kind, channel)))  # type: ignore[arg-type]
        else:
            number, value, channel = one
            groups.append((bytes((0xB0 | channel, number, value)),))  # type: ignore[operator, arg-type]
    assert _held(grouped(groups)) == _held(tuple(groups))
    assert sum(map(len, grouped(groups))) <= sum(map(len, groups))


def _held(groups: tuple[tuple[Message, ...], ...]) -> dict[tuple[str, int, int], int | None]:
    """What the receiver of the standard holds afterwards; what data entry does with nothing selected is nothing."""
    receiver = ControllerReceiver()
    found: dict[tuple[str, int, int], int | None] = {}
    for group in groups:
        for raw in group:
            event = receiver.feed(raw)
            if event is not None:
                found[event.kind, event.channel, event.number] = event.value
    return found
