"""Ways of capture and recall: what they name exists, and every sound parameter can be reached."""

from __future__ import annotations

from collections.abc import Collection

from librarian.chart.building.ways import into_memory
from librarian.chart.dump import DumpCodec, Message
from librarian.chart.faults import Path
from librarian.chart.language.flat import Flat
from librarian.chart.language.sift import Sifted
from librarian.chart.language.trouble import Trouble
from librarian.chart.nearest import nearest

_ALIKE = 3


def check_ways(sifted: Sifted, flat: Flat, trouble: Trouble) -> None:
    """Report names that do not exist and ways that cannot work."""
    table = sifted.table
    messages = table.message.keys()
    ids = {one.table.id for one in flat.parameters}
    bindings = [binding for one in flat.parameters for binding in one.table.bindings]
    said_broken = bool(sifted.broken_tables & {"parameter", "group"})
    for index, capture in enumerate(table.capture):
        path = sifted.path("capture", index)
        if capture.message is not None:
            _exists((*path, "message"), capture.message, messages, "message", sifted, trouble)
            if not _can(table.message.get(capture.message), write=False):
                said = f"The instrument never sends “{capture.message}”: the message has no answer."
                trouble.add((*path, "message"), said, "Add answer = “…” to it, or capture by another message.")
        if capture.end is not None and capture.end.last is not None:
            _exists((*path, "end", "last"), capture.end.last, ids, "parameter", sifted, trouble)
        for number, name in enumerate(capture.carries or ()):
            _exists((*path, "carries", number), name, ids, "parameter", sifted, trouble)
        count = capture.end.count if capture.end is not None else None
        if count is not None and count > len(ids) and not said_broken:
            said = f"{count} parameters are awaited, the chart has {len(ids)}."
            trouble.add((*path, "end", "count"), said, "Write how many come, or name the last one.")
        if capture.way == "controllers" and not said_broken and all(b.only == "recognized" for b in bindings):
            trouble.add(
                (*path, "way"),
                "No parameter has a binding that the instrument transmits.",
                "Add bindings, or remove this way.",
            )
        asks = [one for one in table.message.values() if one.kind == "parameter" and one.request is not None]
        if capture.way == "parameters" and not asks and "message" not in sifted.broken_tables:
            trouble.add(
                (*path, "way"),
                "No message asks for a single parameter.",
                'Add a message with kind = "parameter" and a request, or remove this way.',
            )
    for index, recall in enumerate(table.recall):
        path = sifted.path("recall", index)
        sent: list[tuple[Path, str]] = [((*path, "message"), recall.message)] if recall.message is not None else []
        sent += [((*path, "before", number), name) for number, name in enumerate(recall.before)]
        sent += [((*path, "after", number), name) for number, name in enumerate(recall.after)]
        for where, name in sent:
            _exists(where, name, messages, "message", sifted, trouble)
            if not _can(table.message.get(name), write=True):
                said = f"“{name}” cannot be sent to the instrument: it is not writable."
                trouble.add(where, said, "Choose another message, or give it write = “…”.")
        if recall.way == "controllers" and not said_broken and all(b.only == "transmitted" for b in bindings):
            trouble.add(
                (*path, "way"),
                "No parameter has a binding that the instrument recognizes.",
                "Add bindings, or remove this way.",
            )
        if recall.way == "program" and table.memory is None and "memory" not in sifted.broken_tables:
            trouble.add(
                (*path, "way"),
                "The chart describes no memory, so there is no program to change to.",
                "Add [memory], or remove this way.",
            )
    wanted = table.panel.positions_request
    if wanted is not None:
        _exists(("panel", "positions_request"), wanted, messages, "message", sifted, trouble)


def _can(message: Message | None, *, write: bool) -> bool:
    """Whether the instrument sends (takes) this message; True for one that does not exist (said elsewhere)."""
    if message is None or message.each is not None or message.sequence is not None:
        return True
    if write:
        return message.writable and (message.write is not None or message.answer is not None)
    return message.answer is not None


def _exists(path: Path, name: str, names: Collection[str], what: str, sifted: Sifted, trouble: Trouble) -> None:
    if name in names or name in sifted.broken:
        return
    near = nearest(name, names)
    trouble.add(
        path,
        f"There is no {what} “{name[:60]}”.",
        f"Did you mean “{near}”?" if near else f"Name a {what} of this chart.",
    )


def check_reach(sifted: Sifted, flat: Flat, dumps: DumpCodec, trouble: Trouble) -> None:
    """Report sound parameters that no way of recall carries."""
    ways = {recall.way for recall in sifted.table.recall} or {"dump", "controllers", "parameters"}
    sent = [recall.message for recall in sifted.table.recall if recall.message is not None]
    if not sifted.table.recall:
        sent = [name for name, one in dumps.messages.items() if one.kind == "edit buffer" and "write" in one.forms]
        others = dumps.single_ids or any(one.table.bindings for one in flat.parameters)
        sent = sent or ([] if others else into_memory(dumps))
    reached = set(dumps.single_ids) if "parameters" in ways else set()
    for name in sent:
        reached |= dumps.messages[name].carries if name in dumps.messages else set()
    unreached: list[Path] = []
    for one in flat.parameters:
        table = one.table
        bound = "controllers" in ways and any(binding.only != "transmitted" for binding in table.bindings)
        if bound or table.id in reached or table.setup or table.by_hand:
            continue
        unreached.append(one.path)
        if unreached.count(one.path) > _ALIKE:
            continue
        stands = [name for name, info in dumps.messages.items() if table.id in info.carries and "write" in info.forms]
        remedy = "Add a binding or a field, or write by_hand = true if only a hand can set it."
        if stands:
            kind = dumps.messages[stands[0]].kind
            into = ', into = "memory"' if kind in ("program", "bank") else ""
            remedy = f'It stands in {stands[0]}: add [[recall]] with way = "dump", message = "{stands[0]}"{into}.'
        trouble.add(
            one.path,
            f"No recall can reach “{table.id}”: it has no binding that the instrument recognizes and stands in no "
            "message that a way of recall sends.",
            remedy,
        )
    for path in dict.fromkeys(unreached):
        more = unreached.count(path) - _ALIKE
        if more > 0:
            trouble.add(path, f"No recall can reach {more} more of its repetitions.", "The same helps there.")
