"""Ids: allowed letters, none twice; labels that can be shown; the firmware template."""

from __future__ import annotations

from librarian.chart.faults import Path
from librarian.chart.identity import pieces
from librarian.chart.language.flat import Flat
from librarian.chart.language.sift import Sifted
from librarian.chart.language.table import ID_LETTERS
from librarian.chart.language.trouble import Trouble


def check_names(sifted: Sifted, flat: Flat, trouble: Trouble) -> None:
    """Report ids that cannot be used and ids that stand twice."""
    table = sifted.table
    _spelling((), "id", table.id, trouble)
    _printable((), "name", table.name, trouble)
    _unique([(section.path, section.table.id, section.table.label) for section in flat.sections], "section", trouble)
    _unique([(one.path, one.table.id, one.table.label) for one in flat.parameters], "parameter", trouble)
    _unique(
        [(sifted.path("selector", index), one.id, one.label or "x") for index, one in enumerate(table.selector)],
        "selector",
        trouble,
    )
    for one in flat.parameters:
        for key in ("short",):
            _printable(one.path, key, getattr(one.table, key) or "x", trouble)
        for index, name in enumerate(one.table.positions or ()):
            _printable((*one.path, "positions"), index, name, trouble)
    firmware = table.identity.firmware
    if firmware is not None and pieces(firmware.text) is None:
        trouble.add(
            ("identity", "firmware", "text"),
            f"“{firmware.text}” has a brace that stands for no byte.",
            "Write {1} to {4}, also {1:02}, {1:hex} or {1:char}.",
        )


def _unique(entries: list[tuple[Path, str, str]], what: str, trouble: Trouble) -> None:
    seen: dict[str, Path] = {}
    for path, name, label in entries:
        _spelling(path, "id", name, trouble)
        _printable(path, "label", label, trouble)
        if name in seen:
            first = "in the same group" if seen[name] == path else "further up"
            trouble.add(
                (*path, "id"),
                f"There is another {what} “{name}” {first}.",
                "Give each its own id." if seen[name] != path else "Put the index into the id, such as op{n}.",
                echo=True,
            )
        seen.setdefault(name, path)


def _spelling(path: Path, key: str, name: str, trouble: Trouble) -> None:
    wrong = sorted(set(name) - ID_LETTERS - set("{}"))  # braces are judged where groups are expanded
    shown = " ".join("a blank" if letter == " " else letter if letter.isprintable() else "·" for letter in wrong[:5])
    if not wrong and (name.startswith((".", "-")) or name.endswith(".")):
        shown = "a point or hyphen at its end"
    if shown:
        said = f"“{_clean(name)}” cannot be an id: it has {shown}."
        trouble.add((*path, key), said, "Use a-z, 0-9, point, hyphen and underscore; begin with a letter or digit.")


def _printable(path: Path, key: str | int, text: str, trouble: Trouble) -> None:
    if not text.isprintable() or not text.strip():
        trouble.add(
            (*path, key),
            f"“{_clean(text)}” contains characters that cannot be shown.",
            "Use letters, digits and signs on one line.",
        )


def _clean(text: str) -> str:
    return "".join(letter if letter.isprintable() else "·" for letter in text[:60])
