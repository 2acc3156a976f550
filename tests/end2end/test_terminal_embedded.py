"""The command `librarian` as a person starts it, without any MIDI system: the demo, pipes, poor terminals, Ctrl+C."""

from __future__ import annotations

import json
import os
import signal
import struct
import subprocess
import sys
import time

import pytest

from tests.jackd import bound


def command(*words):
    return bound([sys.executable, "-m", "librarian", *(str(word) for word in words)])


def librarian(*words, **environment):
    return subprocess.run(
        command(*words), capture_output=True, timeout=180, check=False, env={**os.environ, **environment}
    )


@pytest.mark.slow
def test_the_demo_does_the_whole_job_and_leaves_nothing(tmp_path):
    done = librarian("demo", TMPDIR=str(tmp_path))
    said = done.stdout.decode()
    assert done.returncode == 0, said + done.stderr.decode()
    assert done.stderr == b""
    assert "20 of 20 steps proved." in said
    assert "50 of 50 sound parameters read back equal" in said
    assert "22 of 22 sound parameters read back equal" in said
    assert "NOT PROVED" not in said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_the_demo_on_a_library_can_be_run_twice(library_path):
    for patches in (120, 122):
        done = librarian("demo", "--library", library_path, "--json")
        assert done.returncode == 0, done.stderr.decode()
        answer = json.loads(done.stdout)
        assert answer["patches"] == patches
        assert all(step["holds"] for step in answer["steps"])
        assert len(answer["steps"]) == 20


@pytest.mark.slow
def test_the_demo_saves_a_picture_of_the_window(tmp_path):
    picture = tmp_path / "a window.png"
    done = librarian("demo", "--picture", picture, "--json", QT_QPA_PLATFORM="offscreen")
    assert done.returncode == 0, done.stderr.decode()
    raw = picture.read_bytes()
    assert raw[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", raw[16:24])
    assert width >= 1024
    assert height >= 700
    assert json.loads(done.stdout)["picture"] == str(picture)


@pytest.mark.parametrize("words", [("chart", "print", "lanternfish", "--json"), ("chart", "list")])
def test_a_reader_that_has_enough_is_no_trouble(words):
    listing = subprocess.Popen(command(*words), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert listing.stdout is not None
    assert listing.stderr is not None
    listing.stdout.close()
    complaint = listing.stderr.read()
    listing.stderr.close()
    listing.wait(timeout=30)
    assert complaint == b""


def test_a_terminal_without_unicode_shows_what_it_can(library_path):
    poor = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    librarian("--library", library_path, "capture", "Nebel über der Bucht", "--embedded", "--instrument", "fogbell")
    shown = librarian("--library", library_path, "show", "Nebel", **poor)
    assert shown.returncode == 0, shown.stderr.decode()
    assert b"Nebel ?ber der Bucht" in shown.stdout


def test_ctrl_c_means_enough_when_capturing_by_hand(library_path):
    words = ("--library", library_path, "capture", "Half", "--way", "hand", "--embedded", "--json")
    running = subprocess.Popen(
        command(*words), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=dict(os.environ)
    )
    try:
        assert running.stderr is not None
        assert "Listening to Lanternfish" in running.stderr.readline()
        time.sleep(0.5)
        running.send_signal(signal.SIGINT)
        out, _ = running.communicate(timeout=20)
    finally:
        if running.poll() is None:
            running.kill()
            running.communicate()
    # Nothing was moved. It ended with what had come by then, which is nothing to keep, and not as cancelled.
    assert running.returncode == 1
    assert json.loads(out)["problem"]["sentence"].startswith("Nothing that its chart knows came from Lanternfish")


def test_version_and_usage_without_a_library():
    assert librarian("--version").stdout.startswith(b"Librarian ")
    nothing = librarian()
    assert nothing.returncode == 2
    assert b"Usage" in nothing.stdout + nothing.stderr
    assert b"capture" in nothing.stdout + nothing.stderr


@pytest.mark.parametrize("verb", ["window", "standin"])
def test_what_has_options_of_its_own_explains_them(verb):
    done = librarian(verb, "--help", QT_QPA_PLATFORM="offscreen")
    assert done.returncode == 0, done.stderr.decode()
    assert f"librarian {verb}".encode() in done.stdout


def test_the_terminal_starts_without_qt():
    probe = "import sys, librarian.__main__; print(any(name.startswith('PySide6') for name in sys.modules))"
    done = subprocess.run(bound([sys.executable, "-c", probe]), capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout == "False\n"
