"""Display scales: what a person reads and types, there and back for every curve."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from librarian.chart.display.numbers import quantity, spoken
from librarian.chart.display.scale import Scale
from librarian.chart.language.display import DisplayTable
from librarian.errors import BadInput

THIN = "\N{THIN SPACE}"


def scale(low: int = 0, high: int = 127, positions: tuple[str, ...] = (), **keys: object) -> Scale:
    if "first" in keys:
        keys["from"] = keys.pop("first")
    return Scale(low, high, DisplayTable.model_validate(keys) if keys else None, positions)


CUTOFF = scale(scale="exponential", first=20, to=19500, unit="Hz")
TIME = scale(0, 100, scale="exponential", first=2, to=10000, unit="ms")
CENTS = scale(-8192, 8191, scale="table", points=[[-8192, -100], [0, 0], [8191, 100]], unit="ct")
GLIDE = scale(scale="exponential", first=5, to=5000, unit="ms", ends={"low": "off"})


@pytest.mark.parametrize(
    ("number", "unit", "decimals", "text"),
    [
        (642.0, "Hz", None, "642 Hz"),
        (1200.0, "Hz", None, "1.2 kHz"),
        (2742.0, "Hz", None, "2.7 kHz"),
        (19521.0, "Hz", None, "20 kHz"),
        (999.7, "Hz", None, "1 kHz"),
        (999.4, "Hz", None, "999 Hz"),
        (0.25, "Hz", None, "0.25 Hz"),
        (393.0, "ms", None, "393 ms"),
        (1100.0, "ms", None, "1.1 s"),
        (0.3931, "s", None, "393 ms"),
        (0.0005, "s", None, "500 µs"),
        (12.0, "s", None, "12 s"),
        (1.0, "Hz", 2, "1.00 Hz"),
        (-3.0, "ct", 0, "−3 ct"),
        (-0.2, "ct", 0, "0 ct"),
        (12345.0, "", 0, f"12{THIN}345"),
        (90.0, "°", None, "90°"),
        (50.0, "%", 0, "50 %"),
        (0.0, "ms", None, "0 ms"),
        (2_500_000.0, "Hz", None, "2.5 MHz"),
    ],
)
def test_quantities_read_as_people_write_them(number: float, unit: str, decimals: int | None, text: str) -> None:
    assert quantity(number, unit, decimals) == text


@pytest.mark.parametrize(
    ("typed", "unit", "number"),
    [
        ("2k", "Hz", 2000), ("2 kHz", "Hz", 2000), ("2KHZ", "Hz", 2000), ("2000", "Hz", 2000), ("2,5 kHz", "Hz", 2500),
        ("1.5 s", "ms", 1500), ("1.5s", "s", 1.5), ("393 ms", "s", 0.393), ("20 µs", "ms", 0.02), ("20 us", "ms", 0.02),
        ("-3", "ct", -3), ("−3 ct", "ct", -3), ("+7 st", "st", 7), ("+ 7", "st", 7), ("7 semitones", "st", 7),
        ("50 percent", "%", 50), ("1 200", "", 1200), (f"1{THIN}200 Hz", "Hz", 1200), ("1,200", "Hz", 1200),
        ("95 8%", "8%", 95),
        ("0,250", "Hz", 0.25), (".5", "s", 0.5), ("1e3", "Hz", 1000), ("2k", "", 2000),
    ],
)  # fmt: skip
def test_what_people_type(typed: str, unit: str, number: float) -> None:
    got = spoken(typed, unit)
    assert got is not None
    assert math.isclose(got, number)


@pytest.mark.parametrize("typed", ["", "loud", "2 parsecs", "2 dB", "--3", "k", "3 4 Hz x"])
def test_what_is_no_quantity(typed: str) -> None:
    assert spoken(typed, "Hz") is None


def test_pictures() -> None:
    # The texts of the project's own pictures of the window.
    assert CUTOFF.text(64) == "642 Hz"
    assert TIME.text(62) == "393 ms"
    assert CENTS.text(0) == "0 ct"
    assert scale(-24, 24, unit="st").text(7) == "+7 st"
    assert scale(-2, 2).text(-1) == "−1"
    assert scale(0, 100, unit="%").text(50) == "50 %"
    depth = scale(-64, 63, scale="table", points=[[-64, -100], [0, 0], [63, 100]], unit="%", decimals=0)
    assert depth.text(15) == "+24 %"


def test_curves_meet_their_ends() -> None:
    for name in ("linear", "exponential", "logarithmic", "square"):
        curve = scale(3, 90, scale=name, first=0.5, to=80)
        assert curve.reading(3) == 0.5
        assert curve.reading(90) == pytest.approx(80)
    assert scale(0, 100, scale="square", first=0, to=100).reading(50) == 25
    assert scale(0, 100, scale="power", exponent=3, first=0, to=1000).reading(10) == pytest.approx(1)
    assert scale(0, 2, scale="exponential", first=1, to=100).reading(1) == pytest.approx(10)
    # log10(1 + 9 · 0.5) = 0.740
    assert scale(0, 2, scale="logarithmic", first=0, to=1).reading(1) == pytest.approx(0.7404, abs=1e-4)


def test_tables_interpolate() -> None:
    linear = scale(scale="table", points=[[0, 0], [64, 10], [127, 100]])
    assert linear.reading(32) == 5
    steep = scale(scale="table", points=[[0, 10], [64, 1000], [127, 2000]], between="exponential")
    assert steep.reading(32) == pytest.approx(100)


def test_words_at_the_ends() -> None:
    assert GLIDE.text(0) == "off"
    assert GLIDE.text(1) == "5 ms"
    assert GLIDE.value("OFF") == 0
    assert GLIDE.reading(0) is None
    assert GLIDE.difference(0, 5) == "differs"


def test_positions_by_name_and_beginning() -> None:
    waves = scale(0, 3, ("sine", "saw", "square", "12 dB"))
    assert [waves.value(text) for text in ("saw", "SAW", " sine ", "sq", "12")] == [1, 1, 0, 2, 3]
    with pytest.raises(BadInput, match="none of its positions") as caught:
        waves.value("sinne")
    assert "“sine”" in caught.value.hint
    with pytest.raises(BadInput):
        waves.value("s")


def test_note_names() -> None:
    notes = scale(0, 127, form="note")
    assert [notes.text(number) for number in (60, 61, 0, 127)] == ["C4", "C♯4", "C−1", "G9"]
    assert [notes.value(text) for text in ("c4", "C#4", "Db4", "C-1", "B♭3", "60")] == [60, 61, 61, 0, 58, 60]
    assert scale(0, 127, form="note", middle_c=3).text(60) == "C3"
    assert notes.difference(60, 67) == "+7 st"


def test_ratios() -> None:
    ratio = scale(0, 4, scale="exponential", first=0.25, to=4, form="ratio")
    assert [ratio.text(value) for value in range(5)] == ["1:4", "1:2", "1:1", "2:1", "4:1"]
    assert [ratio.value(text) for text in ("1:4", "2:1", "2", "0.5")] == [0, 3, 3, 1]


def test_offset_zero() -> None:
    centred = scale(zero=64, unit="ct")
    assert [centred.text(value) for value in (0, 64, 127)] == ["−64 ct", "0 ct", "+63 ct"]


def test_differences_have_a_sign_and_are_never_plus_nothing() -> None:
    assert CUTOFF.difference(64, 64) == ""
    assert CUTOFF.difference(64, 80) == "+885 Hz"
    assert TIME.difference(70, 38) == "−726 ms"
    fine = scale(0, 16383, first=0, to=100, unit="%", decimals=0)
    assert fine.text(8000) == fine.text(8001)
    assert fine.difference(8000, 8001) == "+0.0061 %"


def test_steps_of_a_straight_line_show_their_decimals() -> None:
    tenths = scale(0, 127, first=0, to=12.7, unit="s")
    assert tenths.text(125) == "12.5 s"
    assert len({tenths.text(value) for value in range(128)}) == 128


def test_outside_the_range() -> None:
    with pytest.raises(BadInput, match="outside the range, which is 20 Hz to 20 kHz"):
        CUTOFF.value("50 kHz")
    with pytest.raises(BadInput, match="cannot be read"):
        CUTOFF.value("loud")
    assert CUTOFF.value("20 kHz") == 127, "the text of the highest value, though it is rounded up"
    assert CUTOFF.text(500) == "500", "a value that a faulty dump brought"


def displays() -> st.SearchStrategy[dict[str, object]]:
    """Display tables of the whole language."""
    reading = st.floats(-1e6, 1e6, allow_nan=False).map(lambda number: round(number, 3))
    positive = st.floats(0.001, 1e6, allow_nan=False).map(lambda number: round(number, 3))
    common = {
        "unit": st.sampled_from(["", "Hz", "s", "ms", "µs", "kHz", "%", "ct", "dB", "°", "own"]),
        "decimals": st.none() | st.integers(0, 4),
        "prefix": st.booleans(),
        "signed": st.none() | st.booleans(),
        "ends": st.none() | st.just({"low": "off"}) | st.just({"low": "min", "high": "max"}),
    }
    return st.one_of(
        st.fixed_dictionaries({"scale": st.sampled_from(["linear", "logarithmic", "square"]), "from": reading,
                               "to": reading, **common}),
        st.fixed_dictionaries({"scale": st.just("exponential"), "from": positive, "to": positive, **common}),
        st.fixed_dictionaries({"scale": st.just("power"), "exponent": st.floats(0.2, 6), "from": reading, "to": reading,
                               **common}),
        st.fixed_dictionaries({"zero": st.integers(-200, 200), **common}),
        st.fixed_dictionaries({"form": st.just("note"), **common}),
        st.fixed_dictionaries({"form": st.just("ratio"), "scale": st.just("exponential"), "from": positive,
                               "to": positive, **common}),
    )  # fmt: skip


@given(displays(), st.integers(-5000, 5000), st.integers(1, 16383), st.data())
def test_what_is_read_can_be_typed(keys: dict[str, object], low: int, width: int, data: st.DataObject) -> None:
    try:
        table = DisplayTable.model_validate({key: value for key, value in keys.items() if value is not None})
    except ValidationError:
        return
    built = Scale(low, low + width, table)
    for value in {low, low + width, data.draw(st.integers(low, low + width))}:
        text = built.text(value)
        assert built.text(built.value(text)) == text
        other = data.draw(st.integers(low, low + width))
        change = built.difference(value, other)
        assert (change == "") == (value == other)
        assert change in {"", "differs"} or change[0] in "+−"


@given(st.lists(st.tuples(st.integers(0, 300), st.floats(-1e4, 1e4)), min_size=2, max_size=12), st.data())
def test_tables_can_be_typed_back(points: list[tuple[int, float]], data: st.DataObject) -> None:
    values = sorted({value for value, _ in points})
    readings = sorted({round(reading, 2) for _, reading in points})
    count = min(len(values), len(readings))
    if count < 2:
        return
    rows = [[value, reading] for value, reading in zip(values[:count], readings[:count], strict=True)]
    built = Scale(values[0], values[count - 1], DisplayTable.model_validate({"scale": "table", "points": rows}))
    value = data.draw(st.integers(built.low, built.high))
    assert built.text(built.value(built.text(value))) == built.text(value)


@given(st.text(max_size=30))
def test_any_text_is_a_value_or_bad_input(text: str) -> None:
    for built in (CUTOFF, TIME, GLIDE, scale(0, 2, ("low", "mid", "high")), scale(form="note"), scale(form="ratio")):
        try:
            value = built.value(text)
        except BadInput:
            continue
        assert built.low <= value <= built.high


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"scale": "table"}, "needs points"),
        ({"points": [[0, 1], [1, 2]]}, "no meaning"),
        ({"first": 1}, "belong together"),
        ({"first": 1, "to": 1}, "same reading"),
        ({"scale": "exponential", "first": 0, "to": 10}, "touch or cross 0"),
        ({"scale": "exponential", "first": -5, "to": 10}, "touch or cross 0"),
        ({"scale": "square"}, "needs from and to"),
        ({"zero": 5, "first": 1, "to": 2}, "plain linear"),
        ({"exponent": 2.0, "first": 1, "to": 2}, "“exponent” is for"),
        ({"base": 2.0, "first": 1, "to": 2}, "“base” is for"),
        ({"scale": "table", "points": [[0, 1], [0, 2]]}, "do not rise"),
        ({"scale": "table", "points": [[0, 1], [1, 2], [2, 1]]}, "neither rise nor fall"),
        ({"scale": "table", "points": [[0, -1], [1, 2]], "between": "exponential"}, "touch or cross 0"),
        ({"first": float("inf"), "to": 1}, "finite"),
    ],
)
def test_tables_that_say_nothing_are_refused(keys: dict[str, object], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        scale(**keys)  # type: ignore[arg-type]
