"""A chart that varies another: what is merged, where its faults are, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from librarian.chart import ChartFaults, Fault, load, loads, shipped

VARIANT = """\
id = "minifish"
name = "Minifish"
extends = "lanternfish.toml"

[identity]
member = 7

[[section]]
id = "lfo"
label = "Slow waves"

[[parameter]]
id = "filter.cutoff"
range = [0, 100]
default = 50
bindings = [{ cc = 74, map = "scaled" }]

[[parameter]]
id = "filter.extra"
label = "Extra"
section = "filter"
range = [0, 127]
bindings = [{ cc = 4 }]

[[parameter]]
id = "osc1.drift"
remove = true

[message]
edit = { remove = true }
program = { remove = true }
bank = { remove = true }

[layout]
sound = { remove = true }

[[capture]]
way = "hand"

[[recall]]
way = "controllers"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "lanternfish.toml").write_text(shipped()["lanternfish"].read_text(encoding="utf-8"), encoding="utf-8")
    return tmp_path


def written(folder: Path, text: str, name: str = "minifish.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def faults(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(ChartFaults) as caught:
        load(path)
    return caught.value.faults


def test_what_a_variant_says_counts_and_the_rest_is_inherited(folder: Path) -> None:
    base, chart = load(folder / "lanternfish.toml"), load(written(folder, VARIANT))
    assert (chart.id, chart.name, chart.revision) == ("minifish", "Minifish", 1)
    assert (chart.identity.member, chart.identity.family) == (7, 130)
    assert set(chart.parameters) == {*base.parameters, "filter.extra"} - {"osc1.drift"}
    assert (chart.parameters["filter.cutoff"].high, chart.parameters["filter.cutoff"].unit) == (100, "Hz")
    assert [section.label for section in chart.sections if section.id == "lfo"] == ["Slow waves"]
    assert not chart.codec.messages
    assert chart.order[-1] == "filter.extra", "what is new comes after what is inherited"


def test_its_text_stands_alone(folder: Path) -> None:
    chart = load(written(folder, VARIANT))
    alone = loads(chart.text)
    assert alone.order == chart.order
    for name, one in chart.parameters.items():
        again = alone.parameters[name]
        assert (again.label, again.section, again.cell, again.low, again.high) == (
            one.label, one.section, one.cell, one.low, one.high
        )  # fmt: skip
        assert [binding.text for binding in again.bindings] == [binding.text for binding in one.bindings]
        assert [again.display(value) for value in (one.low, one.high)] == [one.display(one.low), one.display(one.high)]
    assert [section.id for section in alone.sections] == [section.id for section in chart.sections]
    assert alone.text == chart.text
    assert chart.text.startswith("# Put together from lanternfish.toml, minifish.toml.\n")


def test_groups_keep_their_place_among_parameters(tmp_path: Path) -> None:
    parameter = '[[parameter]]\nid = "{0}"\nlabel = "P"\nsection = "s"\nrange = [0, 1]\nbindings = [{{ cc = {1} }}]\n'
    group = '[[group]]\nrepeat = { n = [1, 2] }\n[[group.parameter]]\nid = "g{n}"\nlabel = "G {n}"\nsection = "s"\n'
    group += "range = [0, 1]\nbindings = [{ cc = 40, step = 1 }]\n"
    head = 'id = "x"\nname = "X"\n[[section]]\nid = "s"\nlabel = "S"\n'
    written(tmp_path, head + parameter.format("a", 20) + group + parameter.format("b", 21), "base.toml")
    own = 'id = "y"\nname = "Y"\nextends = "base.toml"\n' + parameter.format("c", 22) + parameter.format("a", 23)
    chart = load(written(tmp_path, own))
    assert chart.order == ("a", "g1", "g2", "b", "c")
    assert loads(chart.text).order == chart.order


def test_three_generations(folder: Path) -> None:
    written(folder, VARIANT)
    text = 'id = "tiny"\nname = "Tiny"\nextends = "minifish.toml"\n[[parameter]]\nid = "filter.extra"\nlabel = "More"\n'
    chart = load(written(folder, text, "tiny.toml"))
    assert chart.parameters["filter.extra"].label == "More"
    assert "osc1.drift" not in chart.parameters


def test_faults_name_the_file_that_they_are_in(folder: Path) -> None:
    wrong = VARIANT.replace("cc = 74", "cc = 300").replace("range = [0, 100]", "range = [0, 100]\ncolour = 1")
    found = faults(written(folder, wrong))
    assert {(fault.source, fault.line) for fault in found} == {("minifish.toml", 15), ("minifish.toml", 17)}
    base = folder / "lanternfish.toml"
    base.write_text(base.read_text(encoding="utf-8").replace('label = "Resonance"', "label = 5"), encoding="utf-8")
    (fault,) = faults(written(folder, VARIANT))
    assert fault.source == "lanternfish.toml"
    assert base.read_text(encoding="utf-8").split("\n")[fault.line - 1] == "label = 5"
    base.write_text("id = \n", encoding="utf-8")
    assert faults(folder / "minifish.toml")[0].source == "lanternfish.toml"


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nothing.toml", "no chart file"),
        ("../lanternfish.toml", "not the name of a chart file"),
        ("/etc/passwd", "not the name of a chart file"),
        ("..", "not the name of a chart file"),
        ("lanternfish", "not the name of a chart file"),
        ("sub/lanternfish.toml", "not the name of a chart file"),
        ("C:lanternfish.toml", "not the name of a chart file"),
        ("http://example.org/x.toml", "not the name of a chart file"),
        ("minifish.toml", "in a circle: minifish.toml → minifish.toml"),
        ("out.toml", "leads out of the folder"),
        ("folder.toml", "is a folder"),
    ],
)
def test_what_cannot_be_extended(folder: Path, tmp_path_factory: pytest.TempPathFactory, name: str, said: str) -> None:
    outside = tmp_path_factory.mktemp("outside") / "out.toml"
    outside.write_text('id = "x"\n', encoding="utf-8")
    (folder / "out.toml").symlink_to(outside)
    (folder / "folder.toml").mkdir()
    (fault,) = faults(written(folder, VARIANT.replace("lanternfish.toml", name)))
    assert said in fault.sentence
    assert (fault.line, fault.key) == (3, "extends")


def test_a_circle_of_two(folder: Path) -> None:
    written(folder, 'id = "a"\nname = "A"\nextends = "b.toml"\n', "a.toml")
    written(folder, 'id = "b"\nname = "B"\nextends = "a.toml"\n', "b.toml")
    (fault,) = faults(folder / "a.toml")
    assert "a.toml → b.toml → a.toml" in fault.sentence


def test_a_long_line_of_ancestors(folder: Path) -> None:
    for number in range(20):
        text = f'id = "c{number}"\nname = "C"\nextends = "c{number + 1}.toml"\n'
        written(folder, text, f"c{number}.toml")
    assert "More than 8 charts" in faults(folder / "c0.toml")[0].sentence


def test_a_text_without_a_folder() -> None:
    with pytest.raises(ChartFaults, match="no file cannot extend"):
        loads(VARIANT)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (VARIANT.replace('id = "minifish"\n', ""), "needs its own id"),
        (VARIANT.replace('name = "Minifish"\n', ""), "needs its own name"),
        (VARIANT.replace('"osc1.drift"', '"osc1.drit"'), "nothing to remove"),
        (VARIANT.replace("bank = ", "bonk = "), "nothing to remove"),
    ],
)
def test_what_a_variant_must_say(folder: Path, text: str, said: str) -> None:
    assert said in faults(written(folder, text))[0].sentence
