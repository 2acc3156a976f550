"""The standard's controller state machine: what is remembered, reset and ignored."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.controllers.receiver import ControllerReceiver


def feed(text: str, receiver: ControllerReceiver | None = None) -> list[tuple[str, int, int | None]]:
    receiver = receiver or ControllerReceiver()
    raw = bytes.fromhex(text)
    events = [receiver.feed(raw[at : at + 3]) for at in range(0, len(raw), 3)]
    return [(event.kind, event.number, event.value) for event in events if event is not None]


def test_number_halves_in_either_order() -> None:
    # MIDI 1.0 Detailed Specification 4.2.1 p.17 and p.50: 101 then 100, or 100 then 101
    assert feed("B06500 B06402 B00640") == feed("B06402 B06500 B00640") == [("rpn", 2, 0x40 << 7)]


def test_data_entry_needs_both_halves_of_the_number() -> None:
    assert feed("B06500 B00640") == []


def test_rpn_and_nrpn_share_one_selection() -> None:
    # p.17: the last selected counts; the halves of the other kind say nothing about it
    assert feed("B06302 B06205 B06500 B00610") == []
    assert feed("B06302 B06205 B06500 B06400 B00610") == [("rpn", 0, 0x10 << 7)]


def test_lsb_alone_is_unknown_until_an_msb_came() -> None:
    # our own decision where the standard is silent
    assert feed("B06302 B06205 B02610") == [("nrpn", 261, None)]
    assert feed("B06302 B06205 B00601 B02610 B02611") == [
        ("nrpn", 261, 128),
        ("nrpn", 261, 144),
        ("nrpn", 261, 145),
    ]


def test_selecting_another_number_keeps_the_values() -> None:
    # p.17: changing the number does not change the value
    text = "B06302 B06205 B00601 B02610 B06206 B00602 B06205 B02611"
    assert feed(text)[-1] == ("nrpn", 261, 145)


def test_increment_counts_in_msb_for_bend_range_like_rpns() -> None:
    # RP-018: RPN 0 and 1 LSB by 1; RPN 2, 3, 4 MSB by 1
    assert feed("B06500 B06402 B00640 B0607F")[-1] == ("rpn", 2, 0x41 << 7)
    assert feed("B06500 B06401 B00640 B02600 B0607F")[-1] == ("rpn", 1, (0x40 << 7) + 1)
    assert feed("B06500 B06401 B00600 B02600 B06100")[-1] == ("rpn", 1, 0)


def test_increment_of_an_unknown_value_is_unknown() -> None:
    assert feed("B06500 B06401 B0607F") == [("rpn", 1, None)]


def test_reset_all_controllers_selects_null() -> None:
    # RP-015: RPN and NRPN number to null
    assert feed("B06302 B06205 B07900 B00610") == [("cc", 121, 0)]


def test_bank_select_is_remembered_for_later_program_changes() -> None:
    receiver = ControllerReceiver()
    assert receiver.feed(bytes.fromhex("C205")).value == -1  # type: ignore[union-attr]
    feed("B20001 B22002", receiver)
    first, second = receiver.feed(bytes.fromhex("C205")), receiver.feed(bytes.fromhex("C206"))
    assert first is not None
    assert second is not None
    assert (first.number, first.value, second.number, second.value) == (5, 130, 6, 130)


@given(st.lists(st.binary(max_size=4), max_size=60))
def test_any_bytes_are_survived(raws: list[bytes]) -> None:
    receiver = ControllerReceiver()
    for raw in raws:
        event = receiver.feed(raw)
        if event is not None and event.value is not None:
            assert -1 <= event.value <= 16383
