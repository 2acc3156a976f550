"""Learning an instrument in the window, with the keyboard: ports, controls one after another, dumps, the chart."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QSettings, Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from librarian.chart import Chart, load, loads
from librarian.collection import Library
from librarian.messages import Address
from librarian.standin import Instrument
from librarian.transfer import Line
from librarian.transfer.connections import Connections
from librarian.window.main import MainWindow
from librarian.window.pages.learn import subjects
from librarian.window.paint.look import Look
from librarian.wire.embedded import EmbeddedCable
from librarian.wire.ports import Port
from librarian.wire.process import SystemState
from tests.gui.whole_window import close

PATIENCE_MS = 20_000
PORTS = (Port("jack", "out", "Pit interface 1"), Port("jack", "in", "Pit interface 1"))
HIDDEN = """
id = "hidden"
name = "Hidden"
[identity]
manufacturer = "7D"
[address]
device = 16
[[section]]
id = "panel"
label = "Panel"
[[parameter]]
id = "panel.cutoff"
label = "Cutoff"
section = "panel"
range = [0, 127]
bindings = [{ cc = 74 }]
[[parameter]]
id = "panel.depth"
label = "Depth"
section = "panel"
range = [0, 16383]
bindings = [{ cc14 = 16 }]
[[parameter]]
id = "panel.shape"
label = "Shape"
kind = "stepped"
section = "panel"
positions = ["saw", "ramp", "pulse"]
bindings = [{ cc = 20, map = "direct" }]
[[parameter]]
id = "panel.tune"
label = "Tune"
section = "panel"
range = [0, 127]
bindings = [{ nrpn = 261, bits = 7 }]
[message.edit]
request = "F0 7D {device} 21 F7"
answer = "F0 7D {device} 22 {data} {sum} F7"
parts.data = { is = "data", layout = "patch", packing = "nibbles_high" }
parts.sum = { is = "checksum", kind = "twos", from = "data", to = "data" }
[layout.patch]
fields = [{ gap = 2 }, "panel.tune", { of = "panel.depth", bytes = 2, order = "lsb_first", digit = 7 }, "panel.shape",
  "panel.cutoff", { gap = 3 }]
"""


class Wired(Connections):
    """The far end of the chosen ports is an instrument whose chart the window does not see."""

    def __init__(self, chart: Chart) -> None:
        super().__init__(bytes_per_second=31250)
        self.instrument = Instrument(chart, seed=5, address=Address(0, 16))
        self.cable: EmbeddedCable | None = None

    def ports(self) -> tuple[Port, ...]:
        return PORTS

    def system(self) -> SystemState:
        return SystemState(("jack",), True, "")

    def open_ports(self, _output: Port, _input: Port, chart: Chart, address: Address | None = None) -> Line:
        self.cable = EmbeddedCable(self.instrument, self.clock, 31250, name="Pit interface 1")
        return Line(self.cable, chart, address)


class Person:
    """Hands on the panel and on the keyboard, eyes on the page."""

    def __init__(self, qtbot: QtBot, look: Look, folder: Path) -> None:
        self.qtbot, self.folder = qtbot, folder
        self.library = Library.open(folder / "patches.library")
        self.wired = Wired(loads(HIDDEN))
        self.window = MainWindow(
            look, self.library, self.wired, QSettings(str(folder / "w.ini"), QSettings.Format.IniFormat)
        )
        qtbot.addWidget(self.window)
        self.window.show()
        self.page = self.window.learning.page
        self.file = folder / "found.toml"

    def close(self) -> None:
        close(self.qtbot, self.window)
        self.wired.close()
        self.library.close()

    def wait(self, what, message: str = "") -> None:
        def seen() -> None:
            assert what(), f"{message} {self.page.panel.state.said} {self.page.dumps.state.said}"

        self.qtbot.wait_until(seen, timeout=PATIENCE_MS)

    def begin(self) -> None:
        self.window.commands.run("learn")
        self.wait(lambda: self.page.begin.begun.input)
        self.type("Found")
        self.page.begin.show_file(str(self.file))
        self.key(Qt.Key.Key_Return)
        self.wait(lambda: self.page.sheets.currentWidget() is self.page.panel)

    def type(self, text: str) -> None:
        self.qtbot.keyClicks(self.focus, text)

    def key(self, key: Qt.Key, *held: Qt.KeyboardModifier) -> None:
        modifiers = Qt.KeyboardModifier.NoModifier
        for one in held:
            modifiers |= one
        self.qtbot.keyClick(self.focus, key, modifiers)

    @property
    def focus(self):
        self.window.activateWindow()
        focused = self.window.focusWidget()
        assert focused is not None
        return focused

    def turn(self, control: str, values) -> None:
        for value in values:
            self.wired.instrument.turn(control, value, self.wired.clock.now())
        count = len(values)
        self.wait(lambda: (one := self.page.panel.view.of(self.page.panel.view.current)) and one.messages >= count // 2)

    def sweep(self, control: str) -> None:
        one = self.wired.instrument.chart.parameters[control]
        step = max(1, (one.high - one.low) // 20)
        there = [*range(one.low, one.high, step), one.high]
        # A hand never hits the same numbers on the way back; steps do.
        self.turn(control, [*there, *(max(one.low, value - (step > 1)) for value in reversed(there))])

    def name(self, control: str, name: str) -> None:
        before = {one.key for one in self.page.panel.view.controls}
        self.sweep(control)
        self.wait(lambda: self.page.panel.asked is not None and self.page.panel.asked.key not in before)
        named = self.page.panel.view.named
        self.type(name)
        self.key(Qt.Key.Key_Return)
        self.wait(lambda: self.page.panel.view.named == named + 1)


@pytest.fixture
def person(qtbot: QtBot, look: Look, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Person]:
    monkeypatch.setattr(subjects, "PAUSE_S", 0.1)
    made = Person(qtbot, look, tmp_path)
    yield made
    made.close()


def learn_panel(person: Person) -> None:
    person.begin()
    for control, name in (
        ("panel.cutoff", "Filter/Cutoff"), ("panel.depth", "Depth"), ("panel.shape", "Shape"),
        ("panel.tune", "Osc/Tune"),
    ):  # fmt: skip
        person.name(control, name)


def test_move_type_enter_next_and_the_instrument_opens_with_its_chart(person: Person):
    learn_panel(person)
    lines = [(line.first, line.second) for line in person.page.panel.list.lines()]
    assert lines == [
        ("Filter, Cutoff", "CC 74 · continuous, 0 to 127"),
        ("Filter, Depth", "CC 16 and 48 · continuous, 0 to 16383"),
        ("Filter, Shape", "CC 20 · stepped, 3 positions"),
        ("Osc, Tune", "NRPN 261, 7 bits · continuous, 0 to 127"),
    ]
    person.key(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    person.wait(lambda: not person.window.learning.active)
    chart = load(person.file)
    assert {name: one.binding_text for name, one in chart.parameters.items()} == {
        "filter.cutoff": "CC 74", "filter.depth": "CC 16/48", "filter.shape": "CC 20", "osc.tune": "NRPN 261",
    }  # fmt: skip
    (row,) = person.library.instruments()
    assert (row.name, row.chart, row.output) == ("Found", "found", PORTS[0].fingerprint)
    assert person.window.areas.page == "sound"


def test_the_question_stays_with_the_name_being_typed_and_brushed_neighbours_do_not_take_it(person: Person):
    person.begin()
    person.sweep("panel.cutoff")
    person.wait(lambda: person.page.panel.asked is not None)
    person.turn("panel.tune", [64])
    person.wait(lambda: len(person.page.panel.view.controls) == 2)
    assert person.page.panel.asked.texts == ("CC 74",), "a brushed control took the question"
    person.type("Cut")
    person.sweep("panel.shape")
    person.wait(lambda: len(person.page.panel.view.controls) == 3)
    assert person.page.panel.asked.texts == ("CC 74",), "the question left while its name was typed"
    person.type("off")
    person.key(Qt.Key.Key_Return)
    person.wait(lambda: person.page.panel.view.named == 1)
    assert person.page.panel.view.controls[0].label == "Cutoff"
    person.wait(lambda: person.page.panel.asked.texts == ("CC 20",), "then the one that moved last is asked about.")
    person.page.panel.list.select_row(1)
    person.page.panel.out.click()
    person.wait(lambda: len(person.page.panel.view.controls) == 2)


def test_dumps_are_learnt_by_asking_and_the_chart_reads_what_the_hidden_one_writes(person: Person):
    learn_panel(person)
    person.page.panel.dumps.click()
    sheet = person.page.dumps
    person.wait(lambda: person.page.sheets.currentWidget() is sheet and sheet.view.question is not None)
    hidden = person.wired.instrument.chart
    sheet.request.edit.setText("F0 7D 10 21 F7")
    controls = {"filter.cutoff": "panel.cutoff", "filter.depth": "panel.depth", "filter.shape": "panel.shape",
                "osc.tune": "panel.tune"}  # fmt: skip
    chance = iter(range(1, 1000))
    while (question := sheet.view.question) is not None:
        if question.kind == "move":
            name = controls[question.control]
            person.wired.instrument.turn(name, question.value, person.wired.clock.now())
            person.qtbot.wait(60)
        elif question.kind == "other":
            seed = next(chance)
            for at, (name, one) in enumerate(hidden.parameters.items()):
                person.wired.instrument.sound[name] = one.low + (seed * 37 + at * 11) % (one.high - one.low + 1)
        else:
            sheet.skip.click() if question.kind == "name" else None
        before = sheet.view.dumps
        if question.kind == "name":
            person.wait(lambda asked=question: sheet.view.question != asked)
            continue
        sheet.ask.click()
        person.wait(lambda before=before: sheet.view.dumps > before)
    texts = [line.first for line in sheet.list.lines()]
    assert any(text.endswith("to 24, packed as nibbles_high") for text in texts)
    assert any(text.startswith("Checksum twos") for text in texts)
    sheet.write.click()
    person.wait(lambda: not person.window.learning.active)
    learnt = load(person.file)
    for name, one in hidden.parameters.items():
        person.wired.instrument.sound[name] = one.low + 3 * (one.high - one.low) // 4
    values = dict(person.wired.instrument.sound)
    (raw,) = hidden.codec.encode("edit", values, Address(0, 16), form="answer")
    read = dict(learnt.codec.decode(raw, Address(0, 16)).values)
    assert read == {mine: values[theirs] for mine, theirs in controls.items()}
    assert learnt.codec.encode("edit", read, Address(0, 16), base=raw) == (raw,)


def test_two_controls_moved_together_are_refused_in_a_sentence(person: Person):
    learn_panel(person)
    person.page.panel.dumps.click()
    sheet = person.page.dumps
    person.wait(lambda: person.page.sheets.currentWidget() is sheet and sheet.view.question is not None)
    sheet.request.edit.setText("F0 7D 10 21 F7")
    sheet.ask.click()
    person.wait(lambda: sheet.view.dumps == 1)
    while sheet.view.question.kind != "move":
        before = sheet.view.question
        sheet.skip.click()
        person.wait(lambda before=before: sheet.view.question != before)
    for name in ("panel.cutoff", "panel.tune"):
        person.wired.instrument.turn(name, 77, person.wired.clock.now())
    person.qtbot.wait(60)
    sheet.ask.click()
    person.wait(lambda: "Cutoff and Tune moved together" in sheet.state.said)


def test_what_was_learnt_can_be_written_after_the_cable_is_lost(person: Person):
    person.begin()
    person.name("panel.cutoff", "Cutoff")
    assert person.wired.cable is not None
    person.wired.cable.lose("Pit interface 1 is gone.")
    person.wait(lambda: "Pit interface 1 is gone." in person.page.panel.state.said)
    person.page.panel.write.click()
    person.wait(lambda: not person.window.learning.active)
    assert list(load(person.file).parameters) == ["panel.cutoff"]


def test_a_file_that_is_no_chart_is_said_at_once_and_esc_leaves(person: Person):
    person.file.write_text("this is [ no chart")
    person.window.commands.run("learn")
    person.wait(lambda: person.page.begin.begun.input)
    person.page.begin.show_file(str(person.file))
    person.page.begin.listen.click()
    assert person.page.begin.saying.said
    assert person.page.sheets.currentWidget() is person.page.begin
    person.key(Qt.Key.Key_Escape)
    assert not person.window.learning.active
    assert person.file.read_text() == "this is [ no chart"


def test_light_and_dark_paint_with_the_look(person: Person, qapp: QApplication):
    person.begin()
    person.name("panel.cutoff", "Cutoff")
    for theme in ("light", "dark"):
        person.window.choose_theme(theme)
        qapp.processEvents()
        image = person.page.panel.now.grab().toImage()
        assert image.pixelColor(image.width() - 3, 3).name() == person.window.look.palette.sheet.name()
