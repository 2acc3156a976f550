"""The reference of the language, generated from its models: every key with type, unit, default, example and meaning."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from librarian.chart.language.examples import BY_KEY, BY_MODEL
from librarian.chart.language.lookup import branches, fields_of
from librarian.chart.language.root import ChartTable
from librarian.chart.language.writing import value_text

BEGIN = "<!-- keys: generated from the models, do not edit by hand -->"
END = "<!-- end of keys -->"
_UNITS = {
    "bytes_per_second": "bytes/s", "cc": "controller", "cc14": "controllers", "nrpn": "NRPN number",
    "rpn": "RPN number", "channel": "channel", "channel_changed": "channels", "bytes": "bytes", "size": "bytes",
    "stride": "bytes", "gap": "bytes", "chunk": "bytes", "split": "bytes", "programs": "programs",
    "banks": "banks",
}  # fmt: skip


def reference() -> str:
    """The whole reference in Markdown: one section for each table, one line for each key."""
    return "\n\n".join(_section(place, model) for place, model in tables()) + "\n"


def with_reference(page: str) -> str:
    """The page with its generated part brought up to date; everything outside the two marks is kept."""
    before, begin, rest = page.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"the page has no part between {BEGIN} and {END}")
    return f"{before}{BEGIN}\n\n{reference()}\n{END}{after}"


def tables() -> Iterator[tuple[str, type[BaseModel]]]:
    """Every table of the language with the place where it is written, each model once, outermost first."""
    seen: set[type[BaseModel]] = set()
    waiting: list[tuple[str, type[BaseModel]]] = [("", ChartTable)]
    while waiting:
        place, model = waiting.pop(0)
        if model in seen:
            continue
        seen.add(model)
        yield place, model
        inner: list[tuple[str, type[BaseModel]]] = []
        for key, field in fields_of(model).items():
            inner += [(f"{place}.{key}{mark}".lstrip("."), each) for mark, each in _models(field.annotation)]
        waiting = inner + waiting if place else waiting + inner


def _models(annotation: Any, mark: str = "") -> list[tuple[str, type[BaseModel]]]:
    found: list[tuple[str, type[BaseModel]]] = []
    for kind in branches(annotation):
        origin, arguments = get_origin(kind), get_args(kind)
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            found.append((mark, kind))
        elif origin is list:
            found += _models(arguments[0], f"{mark}[]")
        elif origin is dict:
            found += _models(arguments[1], f"{mark}.NAME")
    return found


def _section(place: str, model: type[BaseModel]) -> str:
    title = _title(place, model)
    about = " ".join((model.__doc__ or "").split())
    lines = [f"### {title}", "", _escaped(about), "", "| Key | Type | Unit | Default | Example | Meaning |"]
    lines.append("| --- | --- | --- | --- | --- | --- |")
    for key, field in fields_of(model).items():
        cells = (
            f"`{key}`", _type(field.annotation, field), _unit(key), _default(field), f"`{_example(model, key, field)}`",
            _meaning(model, key, field),
        )  # fmt: skip
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines)


def _title(place: str, model: type[BaseModel]) -> str:
    if not place:
        return "The chart itself"
    kind = fields_of(model).get("is")
    of = f" with `is = {value_text(get_args(kind.annotation)[0])}`" if kind is not None else ""
    if place.endswith("[]") and "." not in place.removesuffix("[]"):
        return f"`[[{place.removesuffix('[]')}]]`"
    if place.count(".") <= 1 and "[]" not in place:
        return f"`[{place}]`{of}"
    return f"`{place}`{of}" + ("" if of else f" ({_spoken(model)})")


def _spoken(model: type[BaseModel]) -> str:
    """ParameterField as "parameter field"."""
    name = model.__name__.removesuffix("Table")
    return "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in name).strip()


def _type(annotation: Any, field: FieldInfo | None = None) -> str:
    names: list[str] = []
    for kind in branches(annotation):
        name = _kind(kind)
        if name and name not in names:
            names.append(name)
    bounds = _bounds(field) if field is not None and names == ["whole number"] else ""
    return " or ".join(names) + bounds


def _kind(kind: Any) -> str:
    origin, arguments = get_origin(kind), get_args(kind)
    if kind is type(None):
        return ""
    if origin is Literal:
        return ", ".join(f"`{value_text(choice)}`" for choice in arguments)
    if origin is list:
        return f"list of {_several(_type(arguments[0]))}"
    if origin is dict:
        return f"table of {_several(_type(arguments[1]))}"
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return "table"
    return {int: "whole number", float: "number", str: "text", bool: "true or false"}.get(kind, "value")


def _several(kind: str) -> str:
    words = {"table": "tables", "text": "texts", "whole number": "whole numbers", "number": "numbers"}
    return words.get(kind, kind)


def _bounds(field: FieldInfo) -> str:
    low = high = None
    for entry in _metadata(field.annotation, field):
        low = getattr(entry, "ge", low)
        high = getattr(entry, "le", high)
    if low is not None and high is not None:
        return f", {low} to {high}".replace("-", "−")
    return f", from {low}" if low is not None else ""


def _metadata(annotation: Any, field: FieldInfo | None = None) -> list[Any]:
    found: list[Any] = list(field.metadata) if field is not None else []
    if get_origin(annotation) is not None:
        for part in get_args(annotation):
            if hasattr(part, "metadata"):
                found += part.metadata
            elif not isinstance(part, type):
                found += _metadata(part)
    return found


def _unit(key: str) -> str:
    return "ms" if key.endswith("_ms") else _UNITS.get(key, "")


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "required"
    default = field.get_default(call_default_factory=True, validated_data={})
    if default is None or default in ([], {}, "") or isinstance(default, BaseModel):
        return "none"
    return f"`{value_text(default)}`"


def _example(model: type[BaseModel], key: str, field: FieldInfo) -> str:
    if _models(field.annotation) and not field.examples and model is ChartTable:
        mark = _models(field.annotation)[0][0]
        return {"": f"[{key}]", "[]": f"[[{key}]]"}.get(mark, f"[{key}.NAME]")
    return f"{key} = {value_text(example(model, key, field))}"


def example(model: type[BaseModel], key: str, field: FieldInfo) -> Any:
    """One value that the key takes. Raises KeyError where nobody has written one."""
    if field.examples:
        return field.examples[0]
    if (model.__name__, key) in BY_MODEL:
        return BY_MODEL[model.__name__, key]
    choices = [
        choice for kind in branches(field.annotation) if get_origin(kind) is Literal for choice in get_args(kind)
    ]
    if choices:
        return next((choice for choice in choices if choice != field.default), choices[0])
    if bool in branches(field.annotation):
        return field.default is not True
    inside = _models(field.annotation)
    if inside:
        mark, inner = inside[0]
        table = {name: example(inner, name, each) for name, each in fields_of(inner).items() if each.is_required()}
        return [table] if mark == "[]" else {"NAME": table} if mark == ".NAME" else table
    return BY_KEY[key]


def _meaning(model: type[BaseModel], key: str, field: FieldInfo) -> str:
    if field.description:
        return _escaped(" ".join(field.description.split()))
    if key == "is":
        return "What the part is."
    raise KeyError(f"{model.__name__}.{key} has no description")


def _escaped(text: str) -> str:
    return text.replace("<", "&lt;").replace("{", "&#123;").replace("*", "\\*")
