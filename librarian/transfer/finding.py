"""Find an instrument by asking every pair of ports who is there; nothing but that question is sent."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from librarian.chart import Chart
from librarian.errors import LibrarianError
from librarian.transfer.cancel import Cancel, OnProgress, Progress
from librarian.transfer.identify import identify
from librarian.transfer.line import Line
from librarian.transfer.results import Identified
from librarian.wire.ports import Port

_ASK_S = 0.5


@dataclass(frozen=True, slots=True)
class Asked:
    """What one pair of ports answered: `found`, or the `silence` as a sentence."""

    output: Port
    input: Port
    found: Identified | None
    silence: str


def ask_every_port(
    ports: Sequence[Port],
    chart: Chart,
    open_line: Callable[[Port, Port, Chart], Line],
    *,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> tuple[Asked, ...]:
    """Ask each output, listening on each input, until the chart's instrument answers; it is then the last entry.

    Pairs of equal names are asked first: most interfaces call both ends alike. Ports named as a loop inside the
    computer are never asked.
    """
    outputs = [port for port in ports if port.direction == "out" and not _is_loop(port)]
    inputs = [port for port in ports if port.direction == "in" and not _is_loop(port)]
    pairs = sorted(
        ((output, input_) for output in outputs for input_ in inputs),
        key=lambda pair: (pair[0].name != pair[1].name, pair[0].api != pair[1].api),
    )
    answers: list[Asked] = []
    for place, (output, input_) in enumerate(pairs):
        if cancel is not None:
            cancel.check("Ports were only asked who is there; nothing has changed.")
        if progress is not None:
            progress(Progress(place, len(pairs), "pairs of ports", (len(pairs) - place) * _ASK_S))
        try:
            line = open_line(output, input_, chart)
        except LibrarianError as problem:
            answers.append(Asked(output, input_, None, str(problem)))
            continue
        try:
            found = identify(line, timeout_s=_ASK_S, cancel=cancel)
        except LibrarianError as problem:
            answers.append(Asked(output, input_, None, str(problem)))
        else:
            answers.append(Asked(output, input_, found, ""))
            if found.fits == "fits":
                break
        finally:
            line.cable.close()
    return tuple(answers)


def _is_loop(port: Port) -> bool:
    return "midi through" in port.name.casefold()
