"""Ways of capture and recall, as the chart lists them or as its messages and bindings allow."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart import dump
from librarian.chart.controllers.binding import Binding
from librarian.chart.language.root import ChartTable
from librarian.chart.language.ways import CaptureTable, RecallTable
from librarian.chart.ways import ControllerEnd, Way


def ways_in(table: ChartTable, bindings: Mapping[str, tuple[Binding, ...]], dumps: dump.DumpCodec) -> tuple[Way, ...]:
    """Ways of capture as the chart lists them; where it lists none, those that its messages and bindings allow."""
    heard = frozenset(name for name, several in bindings.items() if any(one.transmitted for one in several))
    heard |= dumps.single_ids
    given = list(table.capture)
    if not given:
        edit = [
            name
            for name, message in dumps.messages.items()
            if message.kind == "edit buffer" and "request" in message.forms and not message.part_of
        ]
        given = [CaptureTable(way="dump", message=name) for name in edit]
        given += [CaptureTable(way="parameters")] if not edit and dumps.askable_ids else []
        given += [CaptureTable(way="hand")] if heard else []
    return tuple(_way_in(way, heard, dumps) for way in given)


def _way_in(way: CaptureTable, heard: frozenset[str], dumps: dump.DumpCodec) -> Way:
    message = way.message or ""
    carries = dumps.messages[message].carries if message else heard
    if way.way == "parameters":
        carries = dumps.askable_ids
    if way.carries is not None:
        carries = frozenset(way.carries)
    end = None
    if way.way == "controllers":
        end = ControllerEnd()
        if way.end is not None:
            end = ControllerEnd(way.end.count, way.end.last, way.end.silence_ms / 1000)
    asked = way.request is not None or way.way == "parameters"
    asked = asked or (message != "" and "request" in dumps.messages[message].forms)
    return Way(
        way.way,
        message,
        frozenset(carries),
        way.timeout_ms / 1000,
        end,
        asked,
        label=way.label or "",
    )


def ways_out(table: ChartTable, bindings: Mapping[str, tuple[Binding, ...]], dumps: dump.DumpCodec) -> tuple[Way, ...]:
    """Ways of recall as the chart lists them; where it lists none, those that its messages and bindings allow."""
    obeyed = frozenset(name for name, several in bindings.items() if any(one.recognized for one in several))
    given = list(table.recall)
    if not given:
        edit = [
            name
            for name, message in dumps.messages.items()
            if message.kind == "edit buffer" and "write" in message.forms and not message.part_of
        ]
        given = [RecallTable(way="dump", message=name) for name in edit]
        given += [RecallTable(way="controllers")] if obeyed else []
        given += [RecallTable(way="parameters")] if dumps.single_ids else []
        given = given or [RecallTable(way="dump", message=name, into="memory") for name in into_memory(dumps)]
    return tuple(_way_out(way, obeyed, dumps) for way in given)


def into_memory(dumps: dump.DumpCodec) -> list[str]:
    """The messages that write a program, or a whole bank where there is none for one program."""
    for kind in ("program", "bank"):
        found = [
            name
            for name, info in dumps.messages.items()
            if info.kind == kind and "write" in info.forms and not info.part_of
        ]
        if found:
            return found
    return []


def _way_out(way: RecallTable, obeyed: frozenset[str], dumps: dump.DumpCodec) -> Way:
    message = way.message or ""
    carries = {
        "dump": dumps.messages[message].carries if message else frozenset(),
        "controllers": obeyed,
        "parameters": dumps.single_ids,
        "program": frozenset(),
    }[way.way]
    return Way(
        way.way,
        message,
        frozenset(carries),
        way.timeout_ms / 1000,
        None,
        True,
        way.into,
        tuple(way.before),
        tuple(way.after),
        way.acknowledged,
        way.settle_ms / 1000,
        way.label or "",
    )
