"""The benches of finding and of keeping much in a small setting: both roads agree, everything arrives whole."""

from __future__ import annotations

from tests.bench import bulk, search


def result(capsys) -> dict[str, float]:
    last = capsys.readouterr().out.splitlines()[-1]
    assert last.startswith("RESULT ")
    return {name: float(number) for name, number in (word.split("=") for word in last.split()[1:])}


def test_finding_in_a_few_sounds(capsys) -> None:
    search.main(["--patches", "800", "--seed", "3"])
    made = result(capsys)
    assert {"page_ratio_median", "page_ms_p95", "values_query_ms_p95", "complete_ms_p95"} <= made.keys()
    assert all(number > 0 for number in made.values())


def test_keeping_a_few_sounds(capsys) -> None:
    bulk.main(["--patches", "300", "--seed", "3"])
    made = result(capsys)
    assert {"ratio", "mb_peak", "file_ratio"} <= made.keys()
    assert made["patches"] == 300
    assert made["whole"] == 1
    assert made["bundle_same"] == 1
