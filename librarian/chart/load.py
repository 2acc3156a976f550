"""A chart from a file or a text. Either the whole chart is sound, or every fault is reported and nothing is taken."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from librarian.chart import dump
from librarian.chart.building.chart import address_rule, build_chart, specs
from librarian.chart.building.panel import build_scales
from librarian.chart.chart import Chart
from librarian.chart.check import check_cautions, check_language, check_reach
from librarian.chart.language.extend import ChartText, whole_text
from librarian.chart.language.flat import Flat, flatten
from librarian.chart.language.multiply import multiply
from librarian.chart.language.read import read_file
from librarian.chart.language.sift import Sifted, sift
from librarian.chart.language.trouble import Trouble
from librarian.chart.language.writing import chart_text
from librarian.chart.nearest import bounded

_MOST_COMPARISONS = 200_000
"""Words compared in search of nearest names for one chart: about five seconds; a chart with slips needs far less."""


def load(path: Path) -> Chart:
    """The chart in a file. Raises ChartFaults, BadInput (a folder, too large) or OutsideProblem (cannot be read)."""
    return loads(read_file(path), path.name, folder=path.parent)


def loads(text: str, source: str = "chart", *, folder: Path | None = None) -> Chart:
    """The chart in a TOML text; `source` names it in faults. Raises ChartFaults with every fault.

    `folder`: where to look for a chart that it extends; None: it may not extend any. The same text twice may be
    answered with the same chart, which nothing changes.
    """
    if "extends" in text or "\\" in text:  # other files may decide what it says; TOML spells any key with \u too
        return _loaded(text, source, folder)
    return _alone(text, source)


@lru_cache(maxsize=32)
def _alone(text: str, source: str) -> Chart:
    """Window, terminal, library and stand-in all ask for the charts of the instruments that are played."""
    return _loaded(text, source, None)


def _loaded(text: str, source: str, folder: Path | None) -> Chart:
    with bounded(_MOST_COMPARISONS):
        return _compile(whole_text(text, source, folder))


def _compile(written: ChartText) -> Chart:
    trouble = Trouble(written.where)
    whole = multiply(written, trouble)
    trouble.where = whole.where
    missing = len(trouble) > 0
    sifted = sift(whole.data, trouble)
    if sifted is None:
        trouble.stop_if_any()
        raise AssertionError("a chart that cannot be sifted has faults")
    offset = {path: whole.order(path) for paths in sifted.paths.values() for path in paths}
    flat = flatten(sifted, offset, trouble)
    if missing:  # messages that could not be written out: what speaks of them is not at fault
        trouble.stop_if_any()
    check_language(sifted, flat, trouble)
    tables = dump.Dumps(
        message=sifted.table.message,
        layout=sifted.table.layout,
        charset=sifted.table.charset,
        codes=sifted.table.codes,
    )
    if not _check_dumps(tables, sifted, flat, trouble):
        trouble.stop_if_any()
    scales = build_scales(sifted.table, flat) if not len(trouble) else {}
    texts = {name: scale.text for name, scale in scales.items()}
    dumps = dump.compile(tables, specs(flat), address_rule(sifted.table), texts)
    check_reach(sifted, flat, dumps, trouble)
    trouble.stop_if_any()
    cautions = Trouble(whole.where)
    check_cautions(flat, cautions)
    text = written.text or chart_text(written.data, written.order, f"Put together from {', '.join(written.sources)}.")
    return build_chart(sifted.table, flat, scales, dumps, text, cautions.faults())


def _check_dumps(tables: dump.Dumps, sifted: Sifted, flat: Flat, trouble: Trouble) -> bool:
    """Check the dump side; True when it could be compiled for what else is to be checked."""
    parameters = specs(flat)
    for name in sifted.broken:  # set aside for faults of their own: known, but with nothing to complain about
        parameters.setdefault(name, dump.ParameterSpec(name, 0, 0))
    problems = dump.check(tables, parameters, address_rule(sifted.table))
    for problem in problems:
        if not _echo(problem, sifted):
            trouble.add(problem.path, problem.sentence, problem.remedy)
    aside = sifted.broken_tables & {"parameter", "group", "message", "layout", "charset", "codes", "recall", "identity"}
    return not problems and not aside


def _echo(problem: dump.Problem, sifted: Sifted) -> bool:
    """True where a problem only says that an entry set aside is missing."""
    words = {word.strip("“”\"'`.,:;()") for word in problem.sentence.split()}
    return not words.isdisjoint(sifted.broken)
