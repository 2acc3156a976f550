"""Pydantic's errors as faults of a chart: place, plain sentence, nearest name, remedy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel

from librarian.chart.faults import Path
from librarian.chart.language.lookup import choices_at, field_at, keys_at
from librarian.chart.language.writing import value_text
from librarian.chart.nearest import nearest

_NEEDS = {
    "int": "a whole number",
    "float": "a number",
    "bool": "true or false",
    "string": "a text in quotes",
    "list": "a list in square brackets",
    "dict": "a table",
    "model": "a table",
    "tuple": "a list in square brackets",
}


def translate(error: Mapping[str, Any], data: object, root: type[BaseModel]) -> tuple[Path, str, str]:
    """One pydantic error as (path in the TOML, sentence, remedy)."""
    kind = str(error["type"])
    path = real_path(tuple(error["loc"]), data, missing=kind == "missing")
    context = error.get("ctx") or {}
    if kind == "chart":
        said, _, remedy = str(error["msg"]).partition(" || ")
        return path, _sentence(said), str(context.get("remedy", "")) or remedy
    if kind == "missing":
        return _missing(path, root)
    if kind == "extra_forbidden":
        return _unknown_key(path, root)
    if kind == "literal_error":
        return _not_a_choice(path, error.get("input"), root)
    if kind in {"union_tag_not_found", "union_tag_invalid"}:
        return _wrong_tag(path, kind, context)
    return (path, *_wrong_value(path, kind, context, error))


def echoed(errors: Sequence[Any]) -> set[Path]:
    """Places of missing keys that are only misspelt: the unknown key beside them says it better."""
    unknown: dict[Path, list[str]] = {}
    for error in errors:
        if error["type"] == "extra_forbidden":
            unknown.setdefault(tuple(error["loc"][:-1]), []).append(str(error["loc"][-1]))
    missing = [tuple(error["loc"]) for error in errors if error["type"] == "missing"]
    return {loc for loc in missing if nearest(str(loc[-1]), unknown.get(loc[:-1], ()))}


def real_path(loc: Path, data: object, *, missing: bool) -> Path:
    """`loc` without the tags that pydantic puts between the keys of unions."""
    path: list[str | int] = []
    here = data
    for index, part in enumerate(loc):
        if _has(here, part):
            here = here[part]  # type: ignore[index]  # _has looked
        elif missing and index == len(loc) - 1 and isinstance(here, dict):
            pass
        else:
            continue
        path.append(part)
    return tuple(path)


def _has(here: object, part: str | int) -> bool:
    """True where `part` is a key or an index of this table or list."""
    if isinstance(here, dict):
        return part in here
    return isinstance(here, list) and isinstance(part, int) and 0 <= part < len(here)


def _sentence(text: str) -> str:
    text = text.strip()
    if text and text[-1] not in ".!?":
        text += "."
    return text[:1].upper() + text[1:]


def _missing(path: Path, root: type[BaseModel]) -> tuple[Path, str, str]:
    key = str(path[-1]) if path else ""
    field = field_at(root, path)
    remedy = f"Add {key} = …"
    if field is not None:
        example = f"{key} = {value_text(field.examples[0])}" if field.examples else f"{key} = …"
        remedy = f"Add {example}" + (f": {field.description}" if field.description else ".")
    return path, f"The key “{key}” is missing here.", remedy


def _unknown_key(path: Path, root: type[BaseModel]) -> tuple[Path, str, str]:
    key = str(path[-1]) if path else ""
    known = keys_at(root, path[:-1])
    near = nearest(key, known)
    where = next((f"“{part}”" for part in reversed(path[:-1]) if isinstance(part, str)), "a chart")
    remedy = f"Did you mean “{near}”?" if near else f"Keys here are: {', '.join(known)}."
    return path, f"“{clip(key)}” is no key of {where}.", remedy


def _not_a_choice(path: Path, value: object, root: type[BaseModel]) -> tuple[Path, str, str]:
    choices = choices_at(root, path)
    near = nearest(str(value), choices) if isinstance(value, str) else ""
    listed = ", ".join(f"“{choice}”" for choice in choices)
    remedy = (f"Did you mean “{near}”? " if near else "") + (f"It may be: {listed}." if listed else "")
    return path, f"{clip(value)} is not possible for “{_key(path)}”.", remedy.strip()


def _wrong_tag(path: Path, kind: str, context: Mapping[str, Any]) -> tuple[Path, str, str]:
    tag = str(context.get("discriminator", "")).strip("'")
    expected = str(context.get("expected_tags", "")).replace("'", "")
    choices = f"It may be: {expected}." if expected else ""
    if kind == "union_tag_not_found":
        return path, f"“{_key(path)}” does not say what it is: {tag} is missing.", f"Add {tag} = “…”. {choices}".strip()
    given = str(context.get("tag", ""))
    near = nearest(given, expected.split(", "))
    return path, f"“{clip(given)}” is not possible here.", (f"Did you mean “{near}”? " if near else "") + choices


def _wrong_value(path: Path, kind: str, context: Mapping[str, Any], error: Mapping[str, Any]) -> tuple[str, str]:
    value, key = error.get("input"), _key(path)
    if kind in {"greater_than_equal", "greater_than", "less_than_equal", "less_than"}:
        bound = next((context[name] for name in ("ge", "gt", "le", "lt") if name in context), "")
        side = {
            "greater_than_equal": "at least",
            "greater_than": "above",
            "less_than_equal": "at most",
            "less_than": "below",
        }[kind]
        return (
            f"{clip(value)} is not possible for “{key}”: it must be {side} {bound}.",
            f"Write a number {side} {bound}.",
        )
    if kind in {"too_short", "too_long"}:
        few = kind == "too_short"
        bound = context.get("min_length" if few else "max_length", "")
        return (
            f"“{key}” has {context.get('actual_length', '')} entries, but must have at "
            f"{'least' if few else 'most'} {bound}.",
            "Add what is missing." if few else "Take some out.",
        )
    if kind in {"string_too_short", "string_too_long"}:
        few = kind == "string_too_short"
        bound = context.get("min_length" if few else "max_length", "")
        return (
            f"The text of “{key}” must have at {'least' if few else 'most'} {bound} characters.",
            "Write a longer one." if few else "Write a shorter one.",
        )
    if kind == "finite_number":
        return f"“{key}” is not a finite number.", "Write an ordinary number."
    needs = _NEEDS.get(kind.split("_", maxsplit=1)[0])
    if needs is not None:
        return f"“{key}” must be {needs}, not {kind_of(value)}.", f"Write {needs}."
    return f"“{key}” cannot be {clip(value)}: {error['msg']}.", "Correct it."


def _key(path: Path) -> str:
    """The nearest key that has a name."""
    return next((str(part) for part in reversed(path) if isinstance(part, str)), "the chart")


def kind_of(value: object) -> str:
    """What a person would call this TOML value."""
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, int | float):
        return f"the number {clip(value)}"
    if isinstance(value, str):
        return f"the text “{clip(value)}”"
    if isinstance(value, list):
        return "a list"
    return "a table" if isinstance(value, dict) else "a date or time"


def clip(value: object) -> str:
    """A short rendering of a value that may come from anywhere: one line, no control characters."""
    if isinstance(value, list | dict):
        return kind_of(value)
    if isinstance(value, int) and not isinstance(value, bool) and value.bit_length() > 128:
        return "a number of many digits"
    text = "".join(letter if letter.isprintable() else "·" for letter in str(value)[:60])
    return text + ("…" if len(str(value)) > 60 else "")
