"""Encode a value, feed the bytes to a listener: the value comes back, for every kind of binding."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.controllers.binding import Binding, compile_binding
from librarian.chart.controllers.encode import encode
from librarian.chart.controllers.listener import Listener
from librarian.chart.language.parameters import BindingTable
from librarian.messages import Address

HERE = Address(channel=4)
KINDS: list[tuple[dict[str, object], int, int]] = [
    ({"cc": 74}, 0, 127),
    ({"cc": 74, "inverted": True}, 0, 127),
    ({"cc": 74, "offset": 64}, -64, 63),
    ({"cc": 74, "map": "scaled"}, 0, 100),
    ({"cc": 74, "map": "stepped"}, 0, 11),
    ({"cc": 74, "values": [0, 10, 80]}, 0, 2),
    ({"cc14": 16}, 0, 16383),
    ({"cc14": [20, 90]}, 0, 16383),
    ({"cc14": 16, "order": "lsb_first"}, 0, 16383),
    ({"cc14": 16, "order": "either"}, 0, 16383),
    ({"cc14": 16, "offset": 8192, "inverted": True}, -8192, 8191),
    ({"nrpn": 261}, 0, 16383),
    ({"nrpn": 261, "bits": 7}, 0, 127),
    ({"nrpn": 261, "bits": 7, "half": "lsb"}, 0, 127),
    ({"nrpn": 261, "map": "scaled"}, -1000, 1000),
    ({"rpn": 2, "bits": 7, "offset": 64}, -24, 24),
    ({"rpn": 1, "offset": 8192}, -8192, 8191),
    ({"program": True}, 0, 127),
    ({"program": True, "bank": "msb"}, 0, 1000),
    ({"program": True, "bank": "lsb"}, 0, 1000),
    ({"program": True, "bank": "both"}, 0, 2_000_000),
    ({"cc": 74, "channel": 16}, 0, 127),
    ({"cc": 74, "channel_offset": 3}, 0, 127),
]


def compiled(keys: Mapping[str, object], low: int, high: int) -> Binding:
    return compile_binding(BindingTable.model_validate(keys), "continuous", low, high)


def heard(binding: Binding, value: int, address: Address = HERE) -> dict[str, int]:
    listener = Listener([("p", binding)], address, selectors={})
    got: dict[str, int] = {}
    for burst in encode([("p", binding)], {"p": value}, address, selectors={}):
        for message in burst.messages:
            assert message[0] >= 0x80
            assert listener.is_known(message)
            for each in listener.feed(message, 1.0):
                got[each.parameter] = each.value
    for each in listener.flush(2.0):
        got[each.parameter] = each.value
    return got


@pytest.mark.parametrize(("keys", "low", "high"), KINDS)
def test_ends_come_back(keys: dict[str, object], low: int, high: int) -> None:
    binding = compiled(keys, low, high)
    assert binding.exact
    for value in (low, low + 1, high - 1, high):
        assert heard(binding, value) == {"p": value}


@given(st.data())
def test_every_value_of_every_kind_comes_back(data: st.DataObject) -> None:
    keys, low, high = data.draw(st.sampled_from(KINDS))
    value = data.draw(st.integers(low, high))
    address = Address(channel=data.draw(st.integers(0, 15)))
    assert heard(compiled(keys, low, high), value, address) == {"p": value}


@given(st.lists(st.integers(0, 16383), min_size=1, max_size=20), st.sampled_from(["lsb_first", "either"]))
def test_a_stream_that_sends_the_lsb_first_is_understood(values: list[int], order: str) -> None:
    binding = compiled({"cc14": 16, "order": order}, 0, 16383)
    listener = Listener([("p", binding)], HERE, selectors={})
    for number, value in enumerate(values):
        last = {}
        for message in (bytes((0xB4, 48, value & 0x7F)), bytes((0xB4, 16, value >> 7))):
            for each in listener.feed(message, number * 0.1):
                last[each.parameter] = each
        assert last["p"].value == value
        assert last["p"].settled


@given(st.lists(st.integers(0, 16383), min_size=1, max_size=20), st.sampled_from(["msb_first", "either"]))
def test_a_stream_that_sends_the_msb_first_is_understood(values: list[int], order: str) -> None:
    binding = compiled({"cc14": 16, "order": order}, 0, 16383)
    listener = Listener([("p", binding)], HERE, selectors={})
    for number, value in enumerate(values):
        last = {}
        for message in (bytes((0xB4, 16, value >> 7)), bytes((0xB4, 48, value & 0x7F))):
            for each in listener.feed(message, number * 0.1):
                last[each.parameter] = each
        assert last["p"].value == value
        assert last["p"].settled


def test_half_a_pair_settles_after_5_ms() -> None:
    listener = Listener([("p", compiled({"cc14": 16}, 0, 16383))], HERE, selectors={})
    (first,) = listener.feed(bytes.fromhex("B41040"), 1.000)
    assert (first.value, first.settled, listener.pending) == (8192, False, True)
    assert listener.flush(1.004) == ()
    (whole,) = listener.flush(1.006)
    assert (whole.value, whole.settled, listener.pending) == (8192, True, False)
    assert listener.flush(2.0) == ()


def test_a_new_msb_takes_the_lsb_as_0() -> None:
    # MIDI 1.0 Detailed Specification 4.2.1 p.12
    listener = Listener([("p", compiled({"cc14": 7}, 0, 16383))], Address(), selectors={})
    said = [each.value for text in ("B00764", "B02708", "B00765") for each in listener.feed(bytes.fromhex(text))]
    assert said == [12800, 12808, 12928]


def test_a_binding_that_cannot_carry_all_says_so() -> None:
    binding = compiled({"cc": 74, "map": "scaled"}, 0, 1023)
    assert not binding.exact
    listener = Listener([("p", binding)], HERE, selectors={})
    (each,) = listener.feed(bytes.fromhex("B44A40"))
    assert not each.exact


def test_numbers_without_a_value_are_not_heard() -> None:
    listener = Listener([("p", compiled({"cc": 74}, 0, 100))], HERE, selectors={})
    assert listener.feed(bytes.fromhex("B44A7F")) == ()


def test_other_channels_are_not_heard() -> None:
    listener = Listener([("p", compiled({"cc": 74}, 0, 127))], HERE, selectors={})
    assert listener.feed(bytes.fromhex("B54A40")) == ()
    assert not listener.is_known(bytes.fromhex("B54A40"))


def test_one_controller_under_a_selector() -> None:
    one = compiled({"cc": 20, "under": {"layer": 0}}, 0, 127)
    two = compiled({"cc": 20, "under": {"layer": 1}}, 0, 127)
    bindings = [("one", one), ("two", two)]
    bursts = encode(bindings, {"one": 5, "two": 6}, HERE, selectors={"layer": 9})
    assert [burst.messages for burst in bursts] == [
        (bytes.fromhex("B40900"), bytes.fromhex("B41405")),
        (bytes.fromhex("B40901"), bytes.fromhex("B41406")),
    ]
    listener = Listener(bindings, HERE, selectors={"layer": 9})
    assert listener.feed(bytes.fromhex("B41407")) == (), "which layer it is, is not known yet"
    got = {each.parameter: each.value for burst in bursts for raw in burst.messages for each in listener.feed(raw)}
    assert got == {"one": 5, "two": 6}


def test_a_selector_is_sent_once_for_neighbours() -> None:
    under = {"layer": 1}
    bindings = [(name, compiled({"cc": cc, "under": under}, 0, 127)) for name, cc in (("a", 20), ("b", 21))]
    bursts = encode(bindings, {"a": 1, "b": 2}, HERE, selectors={"layer": 9})
    assert [len(burst.messages) for burst in bursts] == [2, 1]


@pytest.mark.parametrize(("rule", "counts"), [("after_group", [4, 6]), ("after_each", [6, 6]), ("never", [4, 4])])
def test_null_after_nrpns(rule: str, counts: list[int]) -> None:
    bindings = [(name, compiled({"nrpn": number}, 0, 16383)) for name, number in (("a", 1), ("b", 2))]
    bursts = encode(bindings, {"a": 1, "b": 2}, HERE, selectors={}, null=rule)  # type: ignore[arg-type]
    assert [len(burst.messages) for burst in bursts] == counts
    if rule != "never":
        assert bursts[-1].messages[-2:] == (bytes.fromhex("B4637F"), bytes.fromhex("B4627F"))


def test_nrpn_bytes() -> None:
    # hand-worked: NRPN 261 = 2080 is 63 02, 62 05, 06 10, 26 20 (vector V22), with a status byte each
    (burst,) = encode([("p", compiled({"nrpn": 261}, 0, 16383))], {"p": 2080}, Address(), selectors={}, null="never")
    assert b"".join(burst.messages).hex(" ").upper() == "B0 63 02 B0 62 05 B0 06 10 B0 26 20"


def test_increments_count_in_the_units_of_a_7_bit_parameter() -> None:
    listener = Listener([("p", compiled({"nrpn": 261, "bits": 7}, 0, 127))], Address(), selectors={})
    said = [
        each.value
        for text in ("B06302", "B06205", "B00610", "B06000", "B06000", "B06100")
        for each in listener.feed(bytes.fromhex(text))
    ]
    assert said == [16, 17, 18, 17]


@given(st.lists(st.binary(max_size=5), max_size=40))
def test_any_bytes_are_survived(raws: list[bytes]) -> None:
    bindings = [(f"p{index}", compiled(keys, low, high)) for index, (keys, low, high) in enumerate(KINDS)]
    listener = Listener(bindings, HERE, selectors={"layer": 9})
    for raw in raws:
        listener.is_known(raw)
        for each in listener.feed(raw, 0.0):
            assert each.parameter in dict(bindings)
