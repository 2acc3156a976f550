"""The frames of a learnt dump: constant bytes, device ID, program number, data, checksums, and what is only kept."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from librarian.chart.learn.dumps.evidence import Evidence
from librarian.chart.learn.dumps.finding import Finding, program_of, title_of
from librarian.chart.learn.dumps.framing import Framing
from librarian.chart.learn.dumps.hot import ranges
from librarian.chart.learn.sums import SumGuess

Parts = dict[str, dict[str, Any]]
TITLE = "title"
"""Layout of a name that stands before the data."""
_CONSTANT = 3
"""Bytes after the manufacturer ID that tell the messages of an instrument apart: device, command, and one more. What
stands between them and the data may be another one in other sounds."""


def message_keys(
    evidence: Evidence, finding: Finding, layout: str, *, request: bytes | None, device: int | None
) -> dict[str, Any]:
    """The keys of `[message.edit]`."""
    parts: Parts = {}
    program = program_of(evidence, finding.reading.start)
    framing = evidence.framing
    if framing is None:
        words = _one(evidence, finding, layout, parts, program, device)
        more: dict[str, Any] = {}
    else:
        words, more = _many(evidence, finding, framing, layout, parts, device)
    keys: dict[str, Any] = {"kind": "edit buffer" if program is None else "program"}
    if request is not None:
        asked = _words(request, evidence.maker, device)
        if program is not None:
            at, plus = program
            number = evidence.shots[0].program
            if len(asked) > at + 1 and number is not None and request[at] == number + plus:
                asked[at] = "{program}"
        keys["request"] = " ".join(asked)
    keys["answer"] = " ".join(word for word in words if word)
    return {**keys, **more, "parts": parts}


def _one(
    evidence: Evidence, finding: Finding, layout: str, parts: Parts, program: tuple[int, int] | None, device: int | None
) -> list[str]:
    """A dump of one message."""
    raw = evidence.shots[-1].raw
    words = _words(raw, evidence.maker, device)
    start, end = finding.reading.start, finding.reading.end
    taken = {guess.at + place for guess in finding.sums for place in range(guess.form.size)}
    if program is not None:
        at, plus = program
        words[at] = "{program}"
        parts["program"] = {"is": "slot", "of": "program", **({"plus": plus} if plus else {})}
        taken.add(at)
    title = title_of(evidence, evidence.table)
    if title is not None and title.at + title.size <= start:
        words[title.at : title.at + title.size] = ["{title}"] + [""] * (title.size - 1)
        parts["title"] = {"is": "data", "layout": TITLE}
        taken |= set(range(title.at, title.at + title.size))
    moving = {at for at in range(len(raw)) if len({shot.raw[at] for shot in evidence.shots}) > 1}
    kept = [at for at in range(evidence.maker, start) if at not in taken and words[at] != "{device}"]
    kept = [at for at in kept if at >= evidence.maker + _CONSTANT or at in moving]
    kept += [at for at in range(end, len(raw) - 1) if at in finding.unexplained]
    _reserve(words, kept, raw, parts)
    data: dict[str, Any] = {"is": "data", "layout": layout}
    packing = {} if finding.reading.packing == "plain" else {"packing": finding.reading.packing}
    words[start:end] = ["{data}"] + [""] * (end - start - 1)
    if finding.inner is None:
        parts["data"] = {**data, **packing}
    else:
        words[start] = "{body}"
        parts["body"] = {"is": "group", "holds": "{data} {inner}", **packing}
        parts["data"] = data
        parts["inner"] = {**_sum(finding.inner), "from": "data", "to": "data"}
    for number, guess in enumerate(sorted(finding.sums, key=lambda one: one.at)):
        name = "sum" if number == 0 else f"sum{number + 1}"
        words[guess.at : guess.at + guess.form.size] = ["{" + name + "}"] + [""] * (guess.form.size - 1)
        parts[name] = {**_sum(guess), **_range(evidence, finding, guess)}
    return words


def _reserve(words: list[str], places: list[int], raw: bytes, parts: Parts) -> None:
    """Bytes that are kept as they come; neighbours of one value become one part."""
    number = 0
    for index, at in enumerate(places):
        if index and places[index - 1] == at - 1 and raw[at - 1] == raw[at]:
            part = parts[f"kept{number}"]
            part["bytes"] = part.get("bytes", 1) + 1
            words[at] = ""
            continue
        number += 1
        words[at] = "{kept" + str(number) + "}"
        parts[f"kept{number}"] = {"is": "reserved", **({"fill": raw[at]} if raw[at] else {})}


def _many(
    evidence: Evidence, finding: Finding, framing: Framing, layout: str, parts: Parts, device: int | None
) -> tuple[list[str], dict[str, Any]]:
    """A dump of several messages, numbered or at addresses."""
    take = evidence.shots[-1].raws
    raw = take[0]
    words = _words(raw, evidence.maker, device)
    at, size = framing.number
    end = len(raw) - 1 - framing.tail
    sizes = [len(framing.data(one)) for one in take]
    data: dict[str, Any] = {"is": "data", "layout": layout}
    if finding.reading.packing != "plain":
        data["packing"] = finding.reading.packing
    more: dict[str, Any] = {}
    if framing.addressed:
        words[at : at + size] = ["{address}"] + [""] * (size - 1)
        parts["address"] = {"is": "address", "bytes": size}
        more = {"blocks": _blocks(framing, sizes, size), "chunk": max(sizes)}
    else:
        words[at] = "{packet}"
        parts["packet"] = {"is": "packet", **({"first": framing.first} if framing.first else {})}
        data["split"] = max(sizes)
    if framing.length is not None:
        place, plus = framing.length
        words[place] = "{length}"
        parts["length"] = {"is": "length", **({"plus": plus} if plus else {})}
    words[framing.start : end] = ["{data}"] + [""] * (end - framing.start - 1)
    parts["data"] = data
    if framing.sum is not None:
        words[end : end + framing.tail] = ["{sum}"] + [""] * (framing.tail - 1)
        first = framing.sum.first
        parts["sum"] = {**_sum(framing.sum), **({"from": first + 1} if first > 1 else {}), "to": "data"}
        if first == framing.start:
            parts["sum"]["from"] = "data"
    elif framing.tail:
        _reserve(words, list(range(end, end + framing.tail)), raw, parts)
    return words, more


def _blocks(framing: Framing, sizes: list[int], digits: int) -> list[dict[str, Any]]:
    """Messages that follow each other without a gap, all full but the last, are one block."""
    blocks: list[list[int]] = []
    full = max(sizes)
    for number, size in zip(framing.starts, sizes, strict=True):
        if blocks and blocks[-1][0] + blocks[-1][1] == number and blocks[-1][1] % full == 0:
            blocks[-1][1] += size
        else:
            blocks.append([number, size])
    return [
        {"start": " ".join(f"{number >> 7 * place & 0x7F:02X}" for place in reversed(range(digits))), "size": size}
        for number, size in blocks
    ]


def _words(raw: bytes, maker: int, device: int | None) -> list[str]:
    words = [f"{byte:02X}" for byte in raw]
    if device is not None and device < 0x7F and len(raw) > maker and raw[maker] == device:
        words[maker] = "{device}"
    return words


def _sum(guess: SumGuess) -> dict[str, Any]:
    part: dict[str, Any] = {"is": "checksum", "kind": guess.kind}
    form = guess.form
    if form.bits != 7:
        part["bits"] = form.bits
    if form.order != "msb_first":
        part["order"] = form.order
    if form.digit == 4:
        part["digit"] = form.digit
    return part


def _start(start: int) -> dict[str, Any]:
    return {"start": start} if start else {}


def _range(evidence: Evidence, finding: Finding, guess: SumGuess) -> Mapping[str, Any]:
    """From where to where: the data alone if that fits, else all after F0, else what fits."""
    if guess.unpacked:
        name = "data" if finding.inner is None else "body"
        return {"from": name, "to": "data", "view": "unpacked", **_start(guess.start)}
    start, end = finding.reading.start, finding.reading.end
    fitting = {(guess.first, guess.end): guess.start} | ranges(evidence.table, guess)
    name = "data" if finding.inner is None else "body"
    if (start, end) in fitting:
        return {"from": name, "to": name, **_start(fitting[start, end])}
    first, last = (1, guess.at) if (1, guess.at) in fitting else max(fitting, key=lambda one: (one[1], one[0]))
    part: dict[str, Any] = {} if first == 1 else {"from": first + 1}
    part |= _start(fitting[first, last])
    return part if last == guess.at else {**part, "to": name if last == end else last}
