"""Which models and fields stand at a place of a chart: for nearest names, choices and the reference page."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from librarian.chart.faults import Path


def branches(annotation: Any) -> list[Any]:
    """The types behind Annotated, Optional and unions."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return branches(get_args(annotation)[0])
    if origin is Union or type(annotation).__name__ == "UnionType":
        return [branch for part in get_args(annotation) for branch in branches(part)]
    return [annotation]


def key_name(name: str, field: FieldInfo) -> str:
    """The key as written in TOML."""
    return field.alias or name


def fields_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """TOML key -> field of a model."""
    return {key_name(name, field): field for name, field in model.model_fields.items()}


def types_at(root: type[BaseModel], path: Path) -> list[Any]:
    """The types that may stand at a path below `root`."""
    types: list[Any] = [root]
    for part in path:
        following: list[Any] = []
        for kind in types:
            following += _below(kind, part)
        types = following
    return types


def _below(kind: Any, part: str | int) -> list[Any]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        field = fields_of(kind).get(str(part)) if isinstance(part, str) else None
        return branches(field.annotation) if field is not None else []
    arguments = get_args(kind)
    origin = get_origin(kind)
    if origin is list and isinstance(part, int):
        return branches(arguments[0])
    if origin is tuple and isinstance(part, int):
        return branches(arguments[0])
    if origin is dict and isinstance(part, str):
        return branches(arguments[1])
    return []


def keys_at(root: type[BaseModel], path: Path) -> list[str]:
    """Every key that the tables at a path may have."""
    keys: dict[str, None] = {}
    for kind in types_at(root, path):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            keys.update(dict.fromkeys(fields_of(kind)))
    return list(keys)


def choices_at(root: type[BaseModel], path: Path) -> list[str]:
    """The texts that a key with fixed choices takes."""
    return [str(choice) for kind in types_at(root, path) if get_origin(kind) is Literal for choice in get_args(kind)]


def field_at(root: type[BaseModel], path: Path) -> FieldInfo | None:
    """The field of the key at a path."""
    if not path or not isinstance(path[-1], str):
        return None
    for kind in types_at(root, path[:-1]):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            found = fields_of(kind).get(path[-1])
            if found is not None:
                return found
    return None
