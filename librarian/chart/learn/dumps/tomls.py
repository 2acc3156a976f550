"""Writes what the dumps say as `[message.edit]` and `[layout.sound]` into a chart."""

from __future__ import annotations

from typing import Any

import numpy as np

from librarian.chart.learn.dumps.evidence import Evidence
from librarian.chart.learn.dumps.finding import Finding, title_of
from librarian.chart.learn.dumps.hot import hot_places
from librarian.chart.learn.dumps.message_text import TITLE, message_keys
from librarian.chart.learn.dumps.names import NameFound, find_name
from librarian.chart.learn.writing import ChartWriter
from librarian.errors import Refused

_LEAST_MOVED = 2
"""One control alone may well change several bytes."""


def dump_chart(
    existing: str, evidence: Evidence, finding: Finding, *, request: bytes | None, device: int | None
) -> tuple[str, tuple[str, ...]]:
    """The text of the chart, and what is not explained in it, in sentences.

    Raises Refused when no control was found in the dumps.
    """
    writer = ChartWriter(existing, id="learnt", name="Learnt")
    fields = _fields(finding)
    if not fields:
        raise Refused("None of the controls was found in the dumps.", "Move a control that belongs to the sound.")
    writer.manufacturer(evidence.shots[-1].raw[1 : evidence.maker])
    if device is not None:
        writer.device(device)
    written = {keys["of"] for keys in fields}
    name = _name(evidence, finding)
    if name is not None:
        keys = dict(name.keys)
        if name.charset is not None:
            keys["charset"] = writer.add("charset", "learnt", dict(name.charset))
        fields.append(keys)
    title = title_of(evidence, evidence.table)
    if name is None and title is not None and title.at + title.size <= finding.reading.start:
        keys = dict(title.keys)
        writer.add("layout", TITLE, {"size": title.size, "fields": [{**keys, "at": 0}]})
    layout = writer.add(
        "layout",
        "sound",
        {"size": int(finding.images.shape[1]), "digit": finding.reading.digits[0], **_fill(finding), "fields": fields},
    )
    notes = _notes(finding)
    stands = stale(finding, evidence)
    message = message_keys(evidence, finding, layout, request=request, device=device)
    if stands:
        message["writable"] = False
        notes.insert(
            0,
            f"{stands} of the dump changes with every control, and no checksum that is known fits: it is kept as it "
            "comes, and what is stored is not sent back.",
        )
    for note in notes:
        writer.remark(note)
    writer.add("message", "edit", message)
    for control in finding.controls:
        if control in written and not stands:
            writer.not_by_hand(control)
        elif control not in written and not writer.bound(control):
            writer.by_hand(control)
    return writer.text(), tuple(notes)


def _name(evidence: Evidence, finding: Finding) -> NameFound | None:
    texts = [(row, shot.text) for row, shot in enumerate(evidence.shots) if shot.text]
    found = find_name(finding.images, texts, finding.reading.digits[0]) if texts else None
    if found is None:
        return None
    claimed = {bit for one in finding.controls.values() for guess in one.guesses[:1] for bit in guess.bits}
    return None if found.places & claimed else found


def _notes(finding: Finding) -> list[str]:
    """What moved and is not explained."""
    return [
        f"{found.dial.label} changes the dump, but its bits are not told apart: they are kept as they come."
        for found in finding.controls.values()
        if found.moved and not found.guesses
    ]


def stale(finding: Finding, evidence: Evidence) -> str:
    """Which bytes must be checksums of a kind that is not known, "" where none is: a dump with other values would be
    refused by the instrument."""
    if finding.unexplained:
        return "Byte " + ", ".join(str(at + 1) for at in finding.unexplained)
    moved = [name for name, found in finding.controls.items() if found.moved]
    if len(moved) < _LEAST_MOVED:
        return ""
    claimed = {at for found in finding.controls.values() for guess in found.guesses[:1] for at, _ in guess.bits}
    hot = [at for at in hot_places(finding.images, evidence, moved) if at not in claimed]
    return "Data byte " + ", ".join(str(at) for at in hot) if hot else ""


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
