"""Bindings: reserved numbers, ranges that do not fit, two parameters on one controller."""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from librarian.chart.check.parameters import span_of
from librarian.chart.controllers.binding import compile_binding, pair_of
from librarian.chart.controllers.mapping import Misfit
from librarian.chart.faults import Path
from librarian.chart.language.flat import Flat, FlatParameter
from librarian.chart.language.parameters import BindingTable
from librarian.chart.language.sift import Sifted
from librarian.chart.language.trouble import Trouble
from librarian.chart.nearest import nearest

_RESERVED = {
    **dict.fromkeys((0, 32), "bank select; it takes effect with the next program change"),
    **dict.fromkeys((6, 38), "data entry of the RPN or NRPN selected last"),
    **dict.fromkeys((96, 97), "data increment and decrement of the RPN or NRPN selected last"),
    **dict.fromkeys((98, 99), "the selection of an NRPN"),
    **dict.fromkeys((100, 101), "the selection of an RPN"),
    **dict.fromkeys(range(120, 128), "a channel mode message"),
}
_CLOSE_LOOK = 200


class _Use(NamedTuple):
    """One number taken by one binding. `under`: the selectors it depends on."""

    path: Path
    owner: str
    transmitted: bool
    recognized: bool
    under: dict[str, int]


def check_bindings(sifted: Sifted, flat: Flat, trouble: Trouble) -> None:
    """Report bindings that the standard, the range or another binding does not allow."""
    selectors = {selector.id: selector for selector in sifted.table.selector}
    uses: dict[tuple[str, str, int], list[_Use]] = defaultdict(list)
    for index, selector in enumerate(sifted.table.selector):
        path = (*sifted.path("selector", index), "cc")
        _reserved(path, selector.cc, trouble)
        uses["cc", "+0", selector.cc].append(_Use(path, f"the selector {selector.id}", True, True, {}))
    for one in flat.parameters:
        for number, binding in enumerate(one.table.bindings):
            path = (*one.path, "bindings", number)
            _numbers(path, binding, trouble)
            _under(path, binding, selectors.keys() | sifted.broken, trouble)
            _fits(one, path, binding, trouble)
            channel = f"={binding.channel}" if binding.channel is not None else f"+{binding.channel_offset}"
            use = _Use(
                path,
                f"“{one.table.id}”",
                binding.only != "recognized",
                binding.only != "transmitted",
                binding.under or {},
            )
            for kind, taken in _taken(binding):
                uses[kind, channel, taken].append(use)
    for path, kind, number in _requests(sifted):
        # Sent to ask, it would turn the parameter; and the answer of that parameter would look like the question.
        uses[kind, "+0", number].append(_Use(path, "the request for its controllers", False, True, {}))
    for (kind, _, number), users in uses.items():
        _shared(kind, number, users, trouble)


def _requests(sifted: Sifted) -> list[tuple[Path, str, int]]:
    """The controllers and NRPN that ask for controllers, each once: where it is written, its kind and number."""
    found: dict[tuple[str, int], Path] = {}
    for index, capture in enumerate(sifted.table.capture):
        for place, request in enumerate(capture.request or ()):
            path = (*sifted.path("capture", index), "request", place)
            for kind, number in (("cc", request.cc), ("nrpn", request.nrpn)):
                if number is not None:
                    found.setdefault((kind, number), path)
    return [(path, kind, number) for (kind, number), path in found.items()]


def _taken(binding: BindingTable) -> list[tuple[str, int]]:
    """The numbers that a binding occupies."""
    if binding.cc is not None:
        return [("cc", binding.cc)]
    if binding.cc14 is not None:
        return [("cc", number) for number in pair_of(binding)]
    if binding.nrpn is not None:
        return [("nrpn", binding.number)]
    return [("rpn", binding.number)] if binding.rpn is not None else [("program", 0)]


def _numbers(path: Path, binding: BindingTable, trouble: Trouble) -> None:
    kind = binding.travels
    for name, number in _taken(binding):
        if name == "cc":
            _reserved((*path, kind), number, trouble)
        elif number == 0x3FFF:
            trouble.add((*path, kind), f"{kind.upper()} 16383 is the null selection.", "Choose another number.")


def _reserved(path: Path, number: int, trouble: Trouble) -> None:
    if number in _RESERVED:
        trouble.add(
            path,
            f"Controller {number} is reserved by the standard: it is {_RESERVED[number]}.",
            "Choose a number from 1-5, 7-31, 33-37, 39-95 or 102-119, or use an NRPN.",
        )


def _under(path: Path, binding: BindingTable, selectors: set[str], trouble: Trouble) -> None:
    for name, number in (binding.under or {}).items():
        where = (*path, "under", name)
        if name not in selectors:
            near = nearest(name, selectors)
            trouble.add(
                where,
                f"There is no selector “{name[:60]}”.",
                f"Did you mean “{near}”?" if near else "Add it as [[selector]].",
            )
        if number > 127:
            trouble.add(where, f"A selector has numbers from 0 to 127, not {number}.", "Write one of those.")


def _fits(one: FlatParameter, path: Path, binding: BindingTable, trouble: Trouble) -> None:
    span = span_of(one.table)
    if span is None or span[0] >= span[1]:
        return
    low, high = span
    unsaid = binding.map is None and binding.values is None and binding.bounds is None and binding.offset is None
    if one.table.kind == "stepped" and binding.cc is not None and unsaid:
        trouble.add(
            path,
            f"It is not said how the {high - low + 1} positions travel as controller {binding.cc}.",
            "Write map = “direct” if they are numbered from 0, map = “stepped” if they are spread over 0 to 127.",
        )
        return
    try:
        compile_binding(binding, one.table.kind, low, high)
    except Misfit as misfit:
        where = (*path, misfit.key) if misfit.key and getattr(binding, misfit.key, None) is not None else path
        said = str(misfit)
        trouble.add(where, f"“{one.table.id}”: {said}.", misfit.remedy)


def _shared(kind: str, number: int, users: list[_Use], trouble: Trouble) -> None:
    if len(users) < 2:
        return
    name = {"cc": f"controller {number}", "program": "the program change"}.get(kind, f"{kind.upper()} {number}")
    for index, use in enumerate(users[:_CLOSE_LOOK]):
        for other in users[:index]:
            if not ((use.transmitted and other.transmitted) or (use.recognized and other.recognized)):
                continue
            if any(other.under.get(selector, number_) != number_ for selector, number_ in use.under.items()):
                continue
            both = (
                f"{use.owner} is bound to {name} twice"
                if use.owner == other.owner
                else (f"{use.owner} and {other.owner} are both bound to {name}")
            )
            trouble.add(
                use.path,
                f"{both[:1].upper()}{both[1:]}.",
                "Give one another number, let a selector tell them apart (under = { … }), or write only = “…”.",
                echo=True,
            )
            break
    if len(users) > _CLOSE_LOOK:
        trouble.add(users[_CLOSE_LOOK].path, f"{len(users):,} bindings use {name}.", "Give each its own number.")
