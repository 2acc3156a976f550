"""The two charts that are shipped: complete, as the pictures of the window show them, and carried by their codecs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart import Chart, load, loads, shipped
from librarian.messages import Address

CHARTS = {name: load(path) for name, path in shipped().items()}
LANTERNFISH, FOGBELL = CHARTS["lanternfish"], CHARTS["fogbell"]
PANEL = {
    1: {
        "Oscillator 1": "Wave Octave Tune Width PW-mod Drift",
        "Oscillator 2": "Wave Octave Interval Tune Width PW-mod Sync",
    },
    2: {
        "Mixer": "Osc-1 Osc-2 Sub Noise Ring",
        "Filter": "Mode Slope Cutoff Resonance Env-depth Key-track LFO-depth Drive",
    },
    3: {
        "Filter envelope": "Attack Decay Sustain Release Velocity",
        "Amp envelope": "Attack Decay Sustain Release Velocity",
        "Modulation": "Wheel Touch Velocity",
    },
    4: {
        "LFO": "Rate-1 Shape-1 Fade-in Key-sync Rate-2 Shape-2 To-pitch",
        "Voice and output": "Voices Detune Glide Volume Transpose Key-scale",
    },
}


def test_the_panel_of_lanternfish() -> None:
    rows: dict[int, dict[str, str]] = {}
    for section in LANTERNFISH.sections:
        labels = " ".join(one.label.replace(" ", "-") for one in section.parameters)
        rows.setdefault(section.row, {})[section.label] = labels
    assert rows == PANEL


def test_what_lanternfish_consists_of() -> None:
    assert (len(LANTERNFISH.parameters), len(LANTERNFISH.sections)) == (52, 9)
    assert (len(LANTERNFISH.sound_ids), LANTERNFISH.setup_ids) == (50, ("voice.transpose", "voice.key-scale"))
    kinds = {one.kind for one in LANTERNFISH.parameters.values()}
    assert kinds == {"continuous", "stepped", "bipolar", "switch"}
    travels = {binding.travels for one in LANTERNFISH.parameters.values() for binding in one.bindings}
    assert travels == {"cc", "cc14", "nrpn", "rpn"}
    assert all("nrpn" in {binding.travels for binding in one.bindings} for one in LANTERNFISH.parameters.values())
    assert all(one.default is not None for one in LANTERNFISH.parameters.values())
    assert LANTERNFISH.memory is not None
    assert LANTERNFISH.memory.size == 64
    assert [way.kind for way in LANTERNFISH.ways_in] == ["dump", "hand"]
    assert [way.kind for way in LANTERNFISH.ways_out] == ["dump", "controllers"]
    assert LANTERNFISH.ways_in[0].carries == frozenset(LANTERNFISH.parameters)


def test_what_fogbell_consists_of() -> None:
    assert (len(FOGBELL.parameters), len(FOGBELL.sound_ids)) == (22, 22)
    assert {binding.travels for one in FOGBELL.parameters.values() for binding in one.bindings} == {"cc"}
    assert FOGBELL.memory is None
    assert not FOGBELL.codec.messages
    way = FOGBELL.ways_in[0]
    assert way.kind == "controllers"
    assert way.end is not None
    assert (way.end.count, way.end.last, way.end.silence_s) == (22, "output.volume", 0.3)
    assert FOGBELL.codec.controller_request(Address(channel=4)) == (bytes.fromhex("B4777F"),)
    assert FOGBELL.codec.is_controller_request(bytes.fromhex("B4777F"), Address(channel=4))
    assert not FOGBELL.codec.is_controller_request(bytes.fromhex("B5777F"), Address(channel=4))
    order = [burst.parameter for burst in FOGBELL.codec.controllers(FOGBELL.defaults(), Address(channel=4))]
    assert (len(order), order[-1]) == (22, "output.volume")


@pytest.mark.parametrize(
    ("parameter", "value", "text"),
    [
        ("filter.cutoff", 64, "642 Hz"),
        ("fenv.attack", 62, "393 ms"),
        ("fenv.decay", 70, "777 ms"),
        ("fenv.release", 66, "553 ms"),
        ("aenv.attack", 58, "280 ms"),
        ("aenv.release", 74, "1.1 s"),
        ("voice.glide", 20, "11 ms"),
        ("osc1.wave", 2, "saw"),
        ("osc1.octave", -1, "−1"),
        ("osc1.tune", 0, "0 ct"),
        ("osc1.width", 50, "50 %"),
        ("osc2.interval", 7, "+7 st"),
        ("filter.env-depth", 15, "+24 %"),
        ("mod.touch", 20, "+32 %"),
        ("filter.slope", 1, "24 dB"),
        ("lfo.rate1", 4400, "0.25 Hz"),
        ("voice.voices", 0, "poly"),
        ("voice.transpose", 0, "0 st"),
        ("voice.key-scale", 0, "even"),
    ],
)
def test_texts_of_the_pictures(parameter: str, value: int, text: str) -> None:
    one = LANTERNFISH.parameters[parameter]
    assert one.display(value) == text
    assert one.display(one.parse(text)) == text


@pytest.mark.parametrize(
    ("parameter", "text"),
    [("filter.cutoff", "CC 74"), ("mixer.noise", "CC 30"), ("filter.resonance", "CC 71"), ("lfo.shape1", "CC 106"),
     ("osc2.wave", "CC 20"), ("osc2.pw-mod", "CC 25"), ("aenv.attack", "CC 86")],
)  # fmt: skip
def test_bindings_of_the_pictures(parameter: str, text: str) -> None:
    assert LANTERNFISH.parameters[parameter].binding_text == text


@pytest.mark.parametrize("chart", CHARTS.values(), ids=CHARTS)
def test_every_value_reads_and_can_be_typed(chart: Chart) -> None:
    for one in chart.parameters.values():
        for value in range(one.low, one.high + 1, max(1, one.steps // 256)):
            assert one.display(one.parse(one.display(value))) == one.display(value)
            assert 0 <= one.share(value) <= 1


@pytest.mark.parametrize("chart", CHARTS.values(), ids=CHARTS)
def test_a_chart_loads_again_from_its_own_text(chart: Chart) -> None:
    again = loads(chart.text)
    assert (again.id, again.revision, list(again.parameters)) == (chart.id, chart.revision, list(chart.parameters))


def values_of(chart: Chart) -> st.SearchStrategy[dict[str, int]]:
    return st.fixed_dictionaries({name: st.integers(one.low, one.high) for name, one in chart.parameters.items()})


@given(st.sampled_from(sorted(CHARTS)).flatmap(lambda name: st.tuples(st.just(name), values_of(CHARTS[name]))))
def test_all_values_travel_as_controllers_both_ways(case: tuple[str, dict[str, int]]) -> None:
    chart, values = CHARTS[case[0]], case[1]
    address = chart.default_address
    for side, other in (("computer", "instrument"), ("instrument", "computer")):
        listener = chart.codec.listener(address, other)  # type: ignore[arg-type]
        got = {}
        for burst in chart.codec.controllers(values, address, side=side):  # type: ignore[arg-type]
            for message in burst.messages:
                got.update({heard.parameter: heard.value for heard in listener.feed(message)})
        assert got == values


@pytest.mark.parametrize("number", range(1, 5))
def test_each_binding_of_lanternfish_carries_every_value(number: int) -> None:
    for name, one in LANTERNFISH.parameters.items():
        for binding in one.bindings[number - 1 : number]:
            assert binding.exact, f"{name}: {binding.text}"
