"""Writes what the dumps say as `[message.edit]` and `[layout.sound]` into a chart."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from librarian.chart.learn.dumps.evidence import Evidence
from librarian.chart.learn.dumps.finding import Finding
from librarian.chart.learn.dumps.hot import ranges
from librarian.chart.learn.sums import SumGuess
from librarian.chart.learn.writing import ChartWriter
from librarian.errors import Refused


def dump_chart(
    existing: str, evidence: Evidence, finding: Finding, *, request: bytes | None, device: int | None
) -> str:
    """The text of the chart. Raises Refused when no control was found in the dumps."""
    writer = ChartWriter(existing, id="learnt", name="Learnt")
    fields = _fields(finding)
    if not fields:
        raise Refused("None of the controls was found in the dumps.", "Move a control that belongs to the sound.")
    raw = evidence.shots[-1].raw
    writer.manufacturer(raw[1 : evidence.maker])
    if device is not None:
        writer.device(device)
    words = _words(raw, evidence.maker, device)
    parts: dict[str, dict[str, Any]] = {}
    start, end = finding.reading.start, finding.reading.end
    layout = writer.add(
        "layout",
        "sound",
        {"size": int(finding.images.shape[1]), "digit": finding.reading.digits[0], **_fill(finding), "fields": fields},
    )
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
    keys: dict[str, Any] = {"kind": "edit buffer"}
    if request is not None:
        keys["request"] = " ".join(_words(request, evidence.maker, device))
    keys["answer"] = " ".join(word for word in words if word)
    writer.add("message", "edit", {**keys, "parts": parts})
    written = {keys["of"] for keys in fields}
    for name in finding.controls:
        if name in written:
            writer.not_by_hand(name)
        elif not writer.bound(name):
            writer.by_hand(name)
    return writer.text()


def _words(raw: bytes, maker: int, device: int | None) -> list[str]:
    words = [f"{byte:02X}" for byte in raw]
    if device is not None and device < 0x7F and len(raw) > maker and raw[maker] == device:
        words[maker] = "{device}"
    return words


def _fields(finding: Finding) -> list[dict[str, Any]]:
    """One for each control that was found, in the order of the bytes; bits that two guesses share go to the first."""
    fields: list[tuple[int, int, dict[str, Any]]] = []
    claimed: set[tuple[int, int]] = set()
    for name, found in finding.controls.items():
        guess = next((one for one in found.guesses if not one.bits & claimed), None)
        if guess is not None:
            claimed |= guess.bits
            first = min(guess.bits)
            fields.append((first[0], first[1], {"of": name, **guess.keys}))
    return [keys for _, _, keys in sorted(fields, key=lambda one: one[:2])]


def _fill(finding: Finding) -> dict[str, Any]:
    """What most bytes hold that no control claims, for dumps that are written without one that was received."""
    claimed = {at for found in finding.controls.values() for guess in found.guesses[:1] for at, _ in guess.bits}
    free = [at for at in range(finding.images.shape[1]) if at not in claimed]
    if not free:
        return {}
    values, counts = np.unique(finding.images[-1, free], return_counts=True)
    fill = int(values[counts.argmax()])
    return {"fill": fill} if fill else {}


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


def _range(evidence: Evidence, finding: Finding, guess: SumGuess) -> Mapping[str, Any]:
    """From where to where: the data alone if that fits, else all after F0, else what fits."""
    if guess.unpacked:
        return {"from": "data" if finding.inner is None else "body", "to": "data", "view": "unpacked"}
    start, end = finding.reading.start, finding.reading.end
    fitting = ranges(evidence.table, guess) | {(guess.first, guess.end)}
    name = "data" if finding.inner is None else "body"
    if (start, end) in fitting:
        return {"from": name, "to": name}
    first, last = (1, guess.at) if (1, guess.at) in fitting else max(fitting, key=lambda one: (one[1], one[0]))
    part: dict[str, Any] = {} if first == 1 else {"from": first + 1}
    return part if last == guess.at else {**part, "to": name if last == end else last}
