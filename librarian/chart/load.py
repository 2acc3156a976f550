"""A chart from a file or a text. Either the whole chart is sound, or every fault is reported and nothing is taken."""

from __future__ import annotations

from pathlib import Path as FilePath

from librarian.chart import dump
from librarian.chart.build import address_rule, build_bindings, build_chart, specs, ways_out
from librarian.chart.chart import Chart
from librarian.chart.check import check_language, check_reach
from librarian.chart.faults import Path
from librarian.chart.language.flat import Flat, flatten
from librarian.chart.language.read import TomlText, parse, read_file
from librarian.chart.language.sift import Sifted, sift
from librarian.chart.language.trouble import Place, Trouble


def load(path: FilePath) -> Chart:
    """The chart in a file. Raises ChartFaults, BadInput (a folder, too large) or OutsideProblem (cannot be read)."""
    return loads(read_file(path), path.name)


def loads(text: str, source: str = "chart") -> Chart:
    """The chart in a TOML text; `source` names it in faults. Raises ChartFaults with every fault."""
    toml = parse(text, source)
    return _compile(toml)


def _compile(toml: TomlText) -> Chart:
    trouble = Trouble(lambda path: Place(toml.source, *toml.places.at(path)))
    sifted = sift(toml.data, trouble)
    if sifted is None:
        trouble.stop_if_any()
        raise AssertionError("a chart that cannot be sifted has faults")
    offset = {path: toml.places.offset(path) for paths in sifted.paths.values() for path in paths}
    flat = flatten(sifted, offset, trouble)
    check_language(sifted, flat, trouble)
    dumps = _check_dumps(sifted, flat, trouble)
    trouble.stop_if_any()
    if dumps is None:
        raise AssertionError("a chart without faults has a dump side")
    return build_chart(sifted.table, flat, dumps, toml.text)


def _check_dumps(sifted: Sifted, flat: Flat, trouble: Trouble) -> dump.DumpCodec | None:
    """Check the dump side and, if it is sound, what no recall can reach."""
    table = sifted.table
    tables = dump.Dumps(message=table.message, layout=table.layout, charset=table.charset, codes=table.codes)
    parameters = specs(flat)
    for name in sifted.broken:  # set aside for faults of their own: known, but with nothing to complain about
        parameters.setdefault(name, dump.ParameterSpec(name, 0, 0))
    rule = address_rule(table)
    found = [problem for problem in dump.check(tables, parameters, rule) if not _echo(problem, sifted)]
    for problem in found:
        trouble.add(_path(problem.path), problem.sentence, problem.remedy)
    aside = sifted.broken_tables & {"parameter", "group", "message", "layout", "charset", "codes", "recall"}
    if found or aside or len(trouble):
        return None
    dumps = dump.compile(tables, parameters, rule)
    check_reach(flat, ways_out(table, build_bindings(flat), dumps), trouble)
    return dumps


def _path(path: Path) -> Path:
    return tuple(path)


def _echo(problem: dump.Problem, sifted: Sifted) -> bool:
    """True where a problem only says that an entry set aside is missing."""
    return any(f"“{name}”" in problem.sentence for name in sifted.broken)
