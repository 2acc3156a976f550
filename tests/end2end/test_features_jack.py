"""What the program can do with an instrument, through the terminal's verbs over JACK: exit codes and answers.

The verbs run in this process, which saves starting an interpreter each time; ports and stand-ins are processes of their
own. `test_terminal_jack.py` runs the command itself.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from librarian.chart import load, shipped
from librarian.cli.app import build
from librarian.cli.exits import Exit
from librarian.cli.verb import Given
from librarian.collection import Library
from librarian.messages import Values, Version
from librarian.transfer import Line, capture
from librarian.wire import traffic
from librarian.wire.process import PortProcess
from tests.onejob import connect, elsewhere
from tests.standins import StandInProcess

pytestmark = pytest.mark.jack

Start = Callable[..., StandInProcess]
QUICK = ("--behave", "wire_bytes_per_second=200000")


class Terminal:
    """`librarian` on one library, in this process."""

    def __init__(self, library: Path) -> None:
        self.library = library
        self._command = get_command(build())

    def __call__(self, *words: object, code: int = Exit.OK) -> dict[str, Any]:
        """The answer of a verb, whose exit code must be `code`; a problem comes back as its object."""
        out, err = io.StringIO(), io.StringIO()
        line = ["--library", str(self.library), *(str(word) for word in words), "--json"]
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as ended:
            self._command.main(line, prog_name="librarian", obj=Given())
        assert int(ended.value.code or 0) == code, (words, ended.value.code, out.getvalue(), err.getvalue())
        answer = json.loads(out.getvalue())
        assert isinstance(answer, dict)
        return answer if answer["ok"] else answer["problem"]

    def add(self, chart: object, port: str, *more: object) -> None:
        """An instrument on the ports of this stand-in."""
        self("instrument", "add", "--chart", chart, "--out", f"{port} IN", "--in", f"{port} OUT", *more)


@pytest.fixture
def librarian(jack_server: object, library_path: Path) -> Terminal:
    return Terminal(library_path)


def sound(standin: StandInProcess) -> dict[str, int]:
    state: dict[str, int] = standin.state()["sound"]
    return state


def turned(standin: StandInProcess, *names: str) -> dict[str, int]:
    """Move controls so that they take over for certain; returns the whole sound afterwards."""
    chart = load(shipped()[standin.ready["chart"]])
    for name in names:
        was = sound(standin)[name]
        standin.turn(name, was)
        standin.turn(name, elsewhere(chart, name, was))
    return sound(standin)


def test_what_was_there_is_kept_only_what_differs_travels_and_it_can_be_undone(
    librarian: Terminal, standin: Start, tmp_path: Path
) -> None:
    one = standin("lanternfish", "Pit safe", *QUICK)
    librarian.add("lanternfish", one.port)
    librarian("capture", "Harbour")
    first = sound(one)
    second = turned(one, "filter.cutoff", "mixer.noise")
    log = tmp_path / "log.json"
    done = librarian("recall", "Harbour", "--traffic", log)
    assert (done["state"], done["sent"], done["equal"], done["of"]) == ("arrived", 2, 50, 50)
    assert done["saved"] > 200
    assert sound(one) == first
    (before,) = librarian("find", "--tag", "before a recall")["patches"]
    kept = librarian("show", str(before["id"]))["sound"]["values"]
    assert {value["id"]: value["value"] for value in kept} == second
    again = librarian("replay", log)
    assert (again["same"], again["now"]) == (True, done["sentence"])

    back = librarian("put-back")
    assert (back["state"], back["before"]) == ("arrived", "Harbour")
    assert sound(one) == second
    assert librarian("verify", "Harbour", code=Exit.DIFFERS)["equal"] == 48


def test_controllers_travel_at_the_pace_and_without_repeating_themselves(
    librarian: Terminal, standin: Start, tmp_path: Path
) -> None:
    one = standin("lanternfish", "Pit fast", *QUICK)
    librarian.add("lanternfish", one.port)
    chart = load(shipped()["lanternfish"])
    librarian("capture", "Harbour")
    held = sound(one)
    values = Values({name: elsewhere(chart, name, held[name]) for name in chart.sound_ids})
    with Library.open(librarian.library) as library:
        version = Version(chart.id, chart.revision, values, frozenset(chart.setup_ids))
        library.keep(library.instruments()[0].id, "Elsewhere", version)
    log = tmp_path / "log.json"
    done = librarian("recall", "Elsewhere", "--way", "controllers", "--whole", "--traffic", log)
    assert done["state"] == "arrived"
    assert sound(one) == {**held, **values}
    crossed = traffic.load(log)
    sent = [one for one in crossed if one.direction == "out" and one.raw[0] & 0xF0 == 0xB0]
    span = sent[-1].at - sent[0].at
    assert span >= sum(len(one.raw) for one in sent[:-1]) / 3125 * 0.99, "faster than the wire"
    selections = [one.raw for one in sent if one.raw[1] in {98, 99}]
    pairs = [(high[2], low[2]) for high, low in zip(selections[::2], selections[1::2], strict=True)]
    assert len(pairs) == len(set(pairs)), "a parameter was selected twice"


def test_what_is_lost_is_sent_again_slower_and_that_is_remembered(librarian: Terminal, standin: Start) -> None:
    one = standin("fogbell", "Pit slow", *QUICK, "--behave", "input_buffer=12", "--behave", "message_s=0.006")
    librarian.add("fogbell", one.port)
    chart = load(shipped()["fogbell"])
    librarian("capture", "Low")
    held = sound(one)
    turned(one, *chart.sound_ids)
    done = librarian("recall", "Low")
    assert (done["state"], done["equal"]) == ("arrived", 22)
    assert done["rounds"] > 0
    assert done["slowed"] > 0
    assert sound(one) == held
    assert librarian("instrument", "list")["instruments"][0]["slowed"] == done["slowed"]
    turned(one, *chart.sound_ids)
    again = librarian("recall", "Low")
    assert again["state"] == "arrived"
    assert again["rounds"] < done["rounds"] + 1, "It begins at the pace that worked."
    assert again["slowed"] >= done["slowed"]
    assert librarian("instrument", "change", "Fogbell", "--usual-pace")["instruments"][0]["slowed"] == 0


def test_a_memory_is_backed_up_compared_and_restored(librarian: Terminal, standin: Start) -> None:
    one = standin("lanternfish", "Pit bank", *QUICK)
    librarian.add("lanternfish", one.port)
    saved = librarian("bank", "backup", "Sunday", "--programs", "1..3")
    assert (saved["memory"]["kept"], saved["memory"]["complete"]) == (3, True)
    moved = librarian("bank", "restore", "Sunday", "--programs", "3", "--to", "1", "--yes")
    assert (moved["new"], moved["old"], moved["unknown"]) == (["1"], {}, {})
    programs = one.state()["programs"]
    assert programs[0]["values"] == programs[2]["values"]
    compared = librarian("bank", "compare", "Sunday", code=Exit.DIFFERS)
    assert [row["program"] for row in compared["programs"] if row["state"] == "different"] == ["1"]
    one.ask("behave memory_protected yes")
    refused = librarian("bank", "restore", "Sunday", "--yes", code=Exit.DIFFERS)
    assert (list(refused["old"]), refused["new"], refused["unknown"]) == (["1"], ["2", "3"], {})
    one.ask("behave memory_protected no")
    assert librarian("bank", "restore", "Sunday", "--yes")["new"] == ["1", "2", "3"]


SMALL_CHART = """
id = "buoy"
name = "Buoy"
revision = 1

[identity]
manufacturer = "7D"
family = 130
member = 77

[address]
channel = 4
device = 20

[panel]
takeover = "jumps"

[[section]]
id = "tone"
label = "Tone"
row = 1

[[parameter]]
id = "tone.cutoff"
label = "Cutoff"
section = "tone"
range = [0, 127]
bindings = [{ cc = 74 }]

[[parameter]]
id = "tone.drive"
label = "Drive"
section = "tone"
range = [0, 127]
bindings = [{ cc = 75 }]

[[capture]]
way = "controllers"
request = [{ cc = 119, value = 127 }]
end = { count = 2, last = "tone.drive", silence_ms = 100 }
timeout_ms = 1000

[[recall]]
way = "controllers"
settle_ms = 5
"""


def test_bring_up_of_a_small_instrument_for_its_maker(librarian: Terminal, standin: Start, tmp_path: Path) -> None:
    chart = tmp_path / "buoy.toml"
    chart.write_text(SMALL_CHART, encoding="utf-8")
    one = standin(chart, "Pit maker", *QUICK)
    librarian.add(chart, one.port)
    before = sound(one)
    saved, junit = tmp_path / "first.json", tmp_path / "first.xml"
    words = ("bring-up", "--monitors-down")
    well = librarian(*words, "--save", saved, "--junit", junit)
    assert well["failed"] == 0, [each for each in well["findings"] if each["outcome"] == "failed"]
    assert well["passed"] > 10
    assert "testsuite" in junit.read_text()
    assert sound(one) == before, "what was in it is there again"
    one.ask("behave identity no")
    later = librarian(*words, "--since", saved, code=Exit.DIFFERS)
    assert {each["check"].partition(":")[0] for each in later["changes"]["broken"]} == {"identity"}
    assert later["changes"]["mended"] == []


def test_bring_up_of_an_instrument_that_cannot_be_asked_for_its_sound(
    librarian: Terminal, standin: Start, tmp_path: Path
) -> None:
    chart = tmp_path / "buoy.toml"
    start, end = SMALL_CHART.index("[[capture]]"), SMALL_CHART.index("[[recall]]")
    chart.write_text(SMALL_CHART[:start] + SMALL_CHART[end:], encoding="utf-8")
    one = standin(chart, "Pit mute", *QUICK)
    librarian.add(chart, one.port)
    before = one.state()["sound"]
    log = tmp_path / "log.json"
    report = librarian("bring-up", "--monitors-down", "--traffic", log, code=Exit.UNPROVED)
    assert report["failed"] == 0
    assert {each["check"].partition(":")[0] for each in report["findings"] if each["outcome"] == "passed"} == {
        "identity"
    }
    assert report["unproved"] == ["Cutoff", "Drive"]
    assert one.state()["sound"] == before
    assert librarian("replay", log)["same"]


def test_twins_are_told_apart_and_one_that_was_away_is_known_again(librarian: Terminal, standin: Start) -> None:
    left, right = standin("fogbell", "Pit twin"), standin("fogbell", "Pit twin", "--seed", "2")
    ports = [port for port in librarian("ports")["ports"] if left.port in port["name"]]
    outputs = [port["fingerprint"] for port in ports if port["direction"] == "out"]
    inputs = [port["fingerprint"] for port in ports if port["direction"] == "in"]
    assert len(set(outputs)) == len(set(inputs)) == 2, ports
    for name, output, source in zip(("One", "Two"), outputs, inputs, strict=True):
        librarian("instrument", "add", "--chart", "fogbell", "--name", name, "--out", output, "--in", source)
    held = [
        {value["id"]: value["value"] for value in librarian("capture", "--instrument", name)["sound"]["values"]}
        for name in ("One", "Two")
    ]
    assert sorted(map(str, held)) == sorted(map(str, (sound(left), sound(right))))

    lone = standin("fogbell", "Pit lone")
    librarian("instrument", "add", "--chart", "fogbell", "--name", "Three", "--out", f"{lone.port} IN", "--in",
              f"{lone.port} OUT")  # fmt: skip
    lone.close()
    gone = librarian("capture", "--instrument", "Three", code=Exit.COULD_NOT)
    assert "Pit lone" in gone["sentence"]
    assert gone["kind"] == "outside"
    standin("fogbell", "Pit lone")
    assert librarian("identify", "--instrument", "Three")["fits"] == "fits"


def test_twins_that_come_back_in_another_order_are_not_exchanged(
    librarian: Terminal, standin: Start, tmp_path: Path
) -> None:
    text = shipped()["fogbell"].read_text(encoding="utf-8")
    own = load(shipped()["fogbell"]).default_address.device
    other = tmp_path / "fogbell.toml"
    other.write_text(text.replace(f"device = {own}", f"device = {own + 1}", 1), encoding="utf-8")
    assert load(other).default_address.device == own + 1
    units = [standin("fogbell", "Pit order", *QUICK), standin(other, "Pit order", *QUICK, "--seed", "2")]
    ports = [port for port in librarian("ports")["ports"] if units[0].port in port["name"]]
    outputs, inputs = ([p["fingerprint"] for p in ports if p["direction"] == way] for way in ("out", "in"))
    for name, output, source in zip(("One", "Two"), outputs, inputs, strict=True):
        librarian("instrument", "add", "--chart", "fogbell", "--name", name, "--out", output, "--in", source)
        librarian("identify", "--instrument", name)
    rows = librarian("instrument", "list")["instruments"]
    first, second = sorted(range(2), key=lambda place: rows[place]["name"])
    device = {row["name"]: row["device"] for row in rows}
    assert set(device.values()) == {own, own + 1}, (rows[first], rows[second])
    charts = {own: "fogbell", own + 1: other}
    for unit in units:
        unit.close()
    back = standin(charts[device["Two"]], "Pit order", *QUICK)  # alone: it gets the name that One had
    held = back.state()["sound"]
    refused = librarian("capture", "--instrument", "One", code=Exit.COULD_NOT)
    assert f"Two (device ID {device['Two']}) answered" in refused["sentence"]
    standin(charts[device["One"]], "Pit order", *QUICK)
    for name, there in (("One", "Two"), ("Two", "One")):
        for words in (("capture",), ("bring-up", "--monitors-down")):
            refused = librarian(*words, "--instrument", name, code=Exit.COULD_NOT)
            assert f"{there} (device ID {device[there]}) answered" in refused["sentence"], words
    assert librarian("find")["total"] == 0
    assert back.state()["sound"] == held
    assert {row["name"]: row["device"] for row in librarian("instrument", "list")["instruments"]} == device


def test_a_conversation_that_is_held_when_its_port_goes_ends_with_a_sentence(
    librarian: Terminal, standin: Start
) -> None:
    one = standin("lanternfish", "Pit pulled", *QUICK)
    librarian.add("lanternfish", one.port)
    one.ask("behave answer_delay_s 20")  # it is waited for, and then it is not there any more
    pulled = threading.Thread(target=_close_when_asked, args=(one,))
    pulled.start()
    lost = librarian("capture", code=Exit.COULD_NOT)
    pulled.join()
    assert "Pit pulled" in lost["sentence"] or "does not answer" in lost["sentence"]
    assert lost["hint"]
    assert librarian("find")["total"] == 0


def _close_when_asked(one: StandInProcess) -> None:
    give_up = time.monotonic() + 20
    while not one.state()["received"] and time.monotonic() < give_up:
        time.sleep(0.02)
    one.close()


def test_a_loop_is_named_and_an_instrument_in_thru_works(librarian: Terminal, standin: Start) -> None:
    one = standin("fogbell", "Pit thru", "--behave", "thru=yes")
    librarian.add("fogbell", one.port)
    assert "thru" in librarian("identify")["sentence"]
    assert librarian("capture", "Harbour")["complete"]
    held = sound(one)
    turned(one, "filter.cutoff")
    assert librarian("recall", "Harbour")["state"] == "arrived"
    assert sound(one) == held
    one.ask("behave identity no")
    one.ask("behave refuse silence")
    # The pedal answers controllers all the same; with its own channel elsewhere it is nothing but a loop.
    librarian("instrument", "change", "Fogbell", "--channel", 11)
    loop = librarian("capture", code=Exit.COULD_NOT)
    assert "comes back" in loop["sentence"] or "returns" in loop["sentence"]
    assert librarian("find")["total"] == 2, "nothing of a loop was kept"


def test_messages_of_others_are_named_and_neither_kept_nor_counted(librarian: Terminal, standin: Start) -> None:
    one = standin("lanternfish", "Pit crowd", *QUICK, "--behave", "identity=no")
    librarian.add("lanternfish", one.port, "--device", 99, "--channel", 9)
    chart = load(shipped()["lanternfish"])
    ended = threading.Event()
    playing = threading.Thread(target=_play, args=(one, elsewhere(chart, "filter.cutoff", 0), ended))
    playing.start()
    try:
        problem = librarian("capture", code=Exit.COULD_NOT)
    finally:
        ended.set()
        playing.join()
    assert "none from" in problem["sentence"]
    assert librarian("find")["total"] == 0


def _play(one: StandInProcess, value: int, ended: threading.Event) -> None:
    while not ended.wait(0.05):
        one.turn("filter.cutoff", value)


def test_a_small_deaf_instrument_is_handled_as_it_is(librarian: Terminal, standin: Start) -> None:
    # The chart gives it 100 ms to store. It needs 50: a MIDI server under load delivers a write some ms late, and the
    # instrument's own time begins only then.
    one = standin("lanternfish", "Pit small", *QUICK, "--behave", "deaf_until_answered=yes", "--behave",
                  "input_buffer=0", "--behave", "answer_delay_s=0.05", "--behave", "store_s=0.05", "--behave",
                  "identity=no")  # fmt: skip
    librarian.add("lanternfish", one.port)
    assert librarian("identify")["fits"] == "fits", "known by its dump"
    librarian("capture", "Harbour")
    held = sound(one)
    turned(one, "filter.cutoff")
    done = librarian("recall", "Harbour", "--whole")
    assert done["state"] == "arrived"
    assert sound(one) == held
    assert one.state()["overflowed"] == 0


def test_a_second_terminal_is_told_that_the_instrument_is_busy(librarian: Terminal, standin: Start) -> None:
    one = standin("lanternfish", "Pit busy")
    librarian.add("lanternfish", one.port)
    words = ["--library", str(librarian.library), "bank", "backup", "Long", "--programs", "1..24", "--json"]
    with subprocess.Popen(
        [sys.executable, "-m", "librarian", *words], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as other:
        give_up = time.monotonic() + 20
        while one.state()["received"] < 5 and time.monotonic() < give_up:
            time.sleep(0.02)
        for verb in (("capture", "Harbour"), ("identify",), ("bring-up", "--monitors-down")):
            busy = librarian(*verb, code=Exit.COULD_NOT)
            assert "backup is under way" in busy["sentence"]
            assert f"process {other.pid}" in busy["sentence"]
        assert other.stdout is not None
        saved = json.loads(other.stdout.read())
    assert saved["memory"]["complete"], "nobody disturbed it"
    assert librarian("capture", "Harbour")["complete"]
    assert librarian("find")["total"] == 1


def test_several_instruments_at_once_do_not_wait_for_each_other(standin: Start) -> None:
    chart = load(shipped()["fogbell"])
    units = [standin("fogbell", f"Pit at once {number}", "--seed", str(number)) for number in (1, 2)]
    found: dict[int, tuple[float, float, dict[str, int]]] = {}
    with PortProcess() as ports:
        lines = [Line(connect(ports, unit.port), chart) for unit in units]
        gate = threading.Barrier(len(lines))

        def read(number: int) -> None:
            gate.wait()
            began = time.monotonic()
            values = dict(capture(lines[number]).version.values)
            found[number] = (began, time.monotonic(), values)

        threads = [threading.Thread(target=read, args=(number,)) for number in range(len(lines))]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert [found[number][2] for number in range(2)] == [sound(unit) for unit in units]
    assert max(each[0] for each in found.values()) < min(each[1] for each in found.values()), "one after the other"
