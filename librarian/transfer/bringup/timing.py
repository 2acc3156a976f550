"""How fast may it be fed? The gap of the chart must do; the fastest one without loss is found by halving."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from librarian.transfer.bringup.bench import Bench, Unproved
from librarian.transfer.bringup.controllers import exact
from librarian.transfer.bringup.dumps import dump_way, write_way
from librarian.transfer.send import send_dump
from librarian.transfer.writing import written

_FLOOR_S = 0.00025
_ROUNDS = 2


def controllers(bench: Bench) -> None:
    """All controllers in a row."""
    carried = bench.chart.codec.carried()
    if not carried:
        bench.not_tried("timing: controllers", "the chart has no controllers")
        return
    provable = [name for name in carried if name in bench.readable]
    if not provable:
        bench.provable("timing: controllers", carried)
        return

    def works(gap_s: float) -> bool:
        bench.talk.line.pace = replace(bench.talk.line.pace, gap_after_cc_s=gap_s)
        for _ in range(_ROUNDS):
            values = bench.some_values(provable)
            wanted = {name: exact(carried[name], value) for name, value in values.items()}
            for burst in bench.chart.codec.controllers(wanted, bench.talk.line.address):
                bench.talk.send_burst(burst.messages)
                bench.talk.keep_ahead()
            bench.talk.until_sent()
            held = bench.read().values
            if any(held.get(name) != value for name, value in wanted.items()):
                return False
        return True

    _halve(bench, "timing: controllers", "after a controller", bench.chart.pace.gap_after_cc_s, works)


def dumps(bench: Bench) -> None:
    """Dumps one after the other; the last one must be what is held."""
    way, road = write_way(bench), dump_way(bench)
    if way is None or road is None:
        bench.not_tried("timing: dumps", "the chart knows no dump that is both written and asked for")
        return

    def works(gap_s: float) -> bool:
        bench.talk.line.pace = replace(bench.talk.line.pace, gap_after_sysex_s=gap_s)
        values: dict[str, int] = {}
        for _ in range(_ROUNDS + 1):
            values = bench.some_values(way.carries)
            send_dump(bench.talk, way, written(bench.talk.line, way.message, values, base=base, name=""))
        bench.talk.until_sent()
        bench.talk.pause(way.settle_s)
        held = bench.read(road).values
        return all(held.get(name) == value for name, value in values.items() if name in road.carries)

    base = bench.read(road).raw[road.message] if way.message == road.message else None
    _halve(bench, "timing: dumps", "after a dump", bench.chart.pace.gap_after_sysex_s, works)


def _halve(bench: Bench, check: str, what: str, gap_s: float, works: Callable[[float], bool]) -> None:
    usual = bench.talk.line.pace
    best: float | None = None
    try:
        bench.begin()
        gap = gap_s
        while works(gap):
            best = gap
            if gap == 0:
                break
            gap = gap / 2 if gap / 2 >= _FLOOR_S else 0.0
    except Unproved as problem:
        bench.failed(check, "", "an answer", problem.reason)
    finally:
        bench.talk.line.pace = usual
    if best is None:
        bench.failed(check, "", f"nothing lost with the chart's gap of {gap_s * 1000:g} ms", "values are lost")
    else:
        bench.passed(check)
        bench.measured.append((f"fastest gap {what}", f"{best * 1000:g} ms (the chart says {gap_s * 1000:g} ms)"))
