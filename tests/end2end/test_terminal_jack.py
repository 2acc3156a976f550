"""The whole job through the command line over JACK: every verb a process, both stand-ins other processes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from librarian.chart import load, shipped
from tests.jackd import bound

pytestmark = pytest.mark.jack

TURNED = {
    "lanternfish": {"filter.cutoff": "1.2 kHz", "mixer.noise": "20 %", "filter.resonance": "36 %"},
    "fogbell": {"filter.cutoff": "500 Hz", "envelope.attack": "300 ms", "output.volume": "-20 dB"},
}


class Terminal:
    """`librarian` on one library; every call is a process."""

    def __init__(self, library):
        self.library = library

    def command(self, *words):
        return bound(
            [sys.executable, "-m", "librarian", "--library", str(self.library), *(str(word) for word in words)]
        )

    def run(self, *words):
        return subprocess.run(self.command(*words), capture_output=True, text=True, timeout=60, check=False)

    def json(self, *words, code=0):
        done = self.run(*words, "--json")
        assert done.returncode == code, (words, done.returncode, done.stdout, done.stderr)
        assert "Traceback" not in done.stderr
        return json.loads(done.stdout)


@pytest.fixture
def terminal(library_path, jack_server):
    return Terminal(library_path)


@pytest.mark.slow
def test_the_whole_job_of_two_players_at_once(library_path, standin):
    """Each has an instrument and a library, and a terminal at the same MIDI system."""
    players = [("lanternfish", 52, 50), ("fogbell", 22, 22)]
    instruments = [standin(name, f"Pit {name}") for name, *_ in players]
    terminals = [Terminal(library_path.with_name(name)) for name, *_ in players]
    with ThreadPoolExecutor(len(players)) as pool:
        jobs = [pool.submit(do_the_whole_job, *one) for one in zip(terminals, instruments, players, strict=True)]
    for job in jobs:
        job.result()


def do_the_whole_job(terminal, instrument, player):
    name, known, sound = player
    chart = load(shipped()[name])
    ports = terminal.json("ports")
    assert {port["direction"] for port in ports["ports"] if f"Pit {name}" in port["name"]} == {"in", "out"}
    terminal.json("instrument", "add", "--chart", name, "--out", f"Pit {name}", "--in", f"Pit {name}")

    assert terminal.json("identify")["fits"] == "fits"
    captured = terminal.json("capture")
    assert (captured["complete"], captured["known"], captured["of"]) == (True, known, known)
    values = {value["id"]: value["value"] for value in captured["sound"]["values"]}
    assert values == instrument.state()["sound"]

    terminal.json("keep", "Tonight")
    terminal.json("tag", "Tonight", "act 1", "storm")
    (found,) = terminal.json("find", "tonight", "--tag", "storm")["patches"]
    assert (found["name"], found["tags"]) == ("Tonight", ["act 1", "storm"])

    wanted = {key: chart.parameters[key].parse(text) for key, text in TURNED[name].items()}
    for key, value in wanted.items():
        # A waiting control first meets its stored position on the way, so that it surely takes over.
        instrument.turn(key, values[key])
        instrument.turn(key, value)
    terminal.json("capture", "--into", "Tonight")
    compared = terminal.json("compare", "Tonight@1", "Tonight@2", code=3)["comparison"]
    differing = {row["id"]: row for row in compared["rows"] if row["state"] == "different"}
    assert set(differing) == set(wanted)
    assert compared["counted"] == sound
    for key, row in differing.items():
        parameter = chart.parameters[key]
        assert row["text_a"] == parameter.display(values[key])
        assert row["text_b"] == parameter.display(wanted[key])
        assert row["difference"] == parameter.difference(values[key], wanted[key])

    recalled = terminal.json("recall", "Tonight@1")
    assert (recalled["state"], recalled["equal"], recalled["of"]) == ("arrived", sound, sound)
    assert terminal.json("verify", "Tonight@1")["equal"] == sound
    assert terminal.json("verify", "Tonight@2", code=3)["state"] == "differs"
    held = instrument.state()["sound"]
    assert {key: held[key] for key in chart.sound_ids} == {key: values[key] for key in chart.sound_ids}

    assert terminal.json("recall", "Tonight@2", "--no-verify", code=4)["state"] == "sent"
    assert terminal.json("compare", "Tonight@2", "--panel")["comparison"]["different"] == 0


@pytest.mark.slow
def test_an_instrument_that_is_gone_cannot_be_captured(terminal, standin):
    instrument = standin("fogbell", "Pit pedal")
    terminal.json("instrument", "add", "--chart", "fogbell", "--out", "Pit pedal", "--in", "Pit pedal")
    terminal.json("capture", "Before")
    instrument.close()
    failed = terminal.json("capture", "After", code=1)
    assert failed["problem"]["kind"] == "outside"
    assert "Pit pedal" in failed["problem"]["sentence"]
    assert terminal.json("find")["total"] == 1


@pytest.mark.slow
def test_another_instrument_on_the_ports_is_told(terminal, standin):
    standin("fogbell", "Pit pedal")
    ports = ("--out", "Pit pedal", "--in", "Pit pedal")
    assert terminal.json("identify", *ports, "--chart", "fogbell")["fits"] == "fits"
    assert terminal.json("identify", *ports, "--chart", "lanternfish", code=3)["fits"] == "other instrument"
    terminal.json("instrument", "add", "--chart", "lanternfish", *ports)
    refused = terminal.json("capture", code=1)
    assert refused["ok"] is False
    assert terminal.json("find")["total"] == 0


@pytest.mark.slow
def test_ctrl_c_ends_a_capture_with_a_sentence_and_keeps_nothing(terminal, standin):
    one = standin("lanternfish", "Pit slow", "--behave", "answer_delay_s=30")
    added = terminal.json("instrument", "add", "--chart", "lanternfish", "--out", "Pit slow", "--in", "Pit slow")
    assert added["instruments"]
    running = subprocess.Popen(
        terminal.command("capture", "--json"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=dict(os.environ),
    )
    try:
        give_up = time.monotonic() + 60
        while one.state()["received"] == 0:
            assert time.monotonic() < give_up, "nothing was asked"
            time.sleep(0.02)
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=20)
    finally:
        if running.poll() is None:
            running.kill()
            running.communicate()
    assert running.returncode == 130
    assert json.loads(out)["problem"]["kind"] == "cancelled"
    assert err.strip()
    assert "Traceback" not in err
    assert terminal.json("find")["total"] == 0
