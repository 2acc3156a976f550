"""Charts put to the proof and dumps explained, at the terminal."""

from __future__ import annotations

from librarian.chart import load, shipped
from librarian.cli.exits import Exit


def dump_file(folder, damage=lambda raw: raw):
    chart = load(shipped()["lanternfish"])
    raws = chart.codec.encode("edit", chart.defaults(), chart.default_address, name="Fog", form="answer")
    path = folder / "sounds.syx"
    path.write_bytes(damage(b"".join(raws)))
    return path


def test_check_tries_random_values_and_real_dumps(run, tmp_path):
    answer = run("chart", "check", "lanternfish", dump_file(tmp_path), "--json").answer
    proof = answer["proof"]
    assert proof["passed"] is True
    assert {trial["what"] for trial in proof["trials"]} == {
        "message edit", "message program", "message bank", "controllers",
    }  # fmt: skip
    (dump,) = proof["dumps"]
    assert (dump["numbers"], dump["message"], dump["size"], dump["identical"]) == ([1], "edit", 263, True)
    assert (proof["recallable"], proof["readable"], proof["sound"]) == (50, 50, 50)
    shown = run("chart", "check", "lanternfish", tmp_path / "sounds.syx")
    assert "the same to the byte" in shown.out
    assert "50 of 50 sound parameters can be recalled" in shown.out


def test_a_dump_that_does_not_fit_differs(run, tmp_path):
    path = dump_file(tmp_path, lambda raw: raw[:-2] + bytes((raw[-2] ^ 1,)) + raw[-1:])
    found = run("chart", "check", "lanternfish", path, "--json")
    assert found.code == Exit.DIFFERS
    assert found.answer["proof"]["dumps"][0]["identical"] is False
    assert "checksum" in run("chart", "check", "lanternfish", path).out


def test_a_file_without_messages(run, tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("nothing of that kind")
    assert run("chart", "check", "lanternfish", path).code == Exit.COULD_NOT
    assert run("explain", "lanternfish", path).code == Exit.COULD_NOT


def test_explain(run, tmp_path):
    path = dump_file(tmp_path)
    (message,) = run("explain", "lanternfish", path, "--json").answer["messages"]
    assert (message["number"], message["message"], message["form"], message["size"]) == (1, "edit", "answer", 263)
    assert len(message["rows"]) >= 263
    assert message["rows"][0]["byte"] == "F0"
    assert 0 < message["claimed"] < 263
    shown = run("explain", "lanternfish", path, "--message", "1").out
    assert "Message 1: edit (answer), 263 bytes" in shown
    assert "filter.cutoff" in shown
    assert run("explain", "lanternfish", path, "--message", "2").code == Exit.COULD_NOT


def test_explain_what_was_typed(run, tmp_path):
    path = dump_file(tmp_path)
    typed = path.read_bytes().hex(" ")
    assert run("explain", "lanternfish", "--hex", typed, "--json").answer["messages"] == (
        run("explain", "lanternfish", path, "--json").answer["messages"]
    )
    (cut,) = run("explain", "lanternfish", "--hex", typed[:60], "--json").answer["messages"]
    assert "cut off" in cut["rows"][0]["value"]
    assert run("explain", "lanternfish", "--hex", "no bytes").code == Exit.COULD_NOT
    assert run("explain", "lanternfish").code == Exit.USAGE
    assert run("explain", "lanternfish", path, "--hex", "F0 F7").code == Exit.USAGE
