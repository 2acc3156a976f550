"""Judges the dump tables of a chart: every fault, with its place and what to write instead."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart.dump.plan import Dumps, make_plan
from librarian.chart.dump.problem import Problem
from librarian.chart.dump.specs import AddressRule, ParameterSpec


def check(dumps: Dumps, parameters: Mapping[str, ParameterSpec], address: AddressRule) -> list[Problem]:
    """All problems, in the order of the file; none means that `compile` will do."""
    return make_plan(dumps, parameters, address).problems
