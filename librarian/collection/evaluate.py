"""A query answered for all patches at once, on the arrays of the shelf."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from sqlalchemy import Connection, select

from . import sqlite
from .query.nodes import (
    And,
    Condition,
    Has,
    Node,
    Not,
    OnInstrument,
    Or,
    Tagged,
    Taken,
    Text,
    Unheard,
    Valued,
    text_expression,
)
from .schema import LIVE, Patch
from .shelf import Flags, Shelf
from .wordlist import WordList


def evaluate(connection: Connection, shelf: Shelf, node: Node) -> Flags:
    """True at the id of every patch that satisfies the query; those that are not live are false or true alike."""
    if shelf.words is None:
        expression = text_expression(node)
        if expression is not None:
            return shelf.mask(sqlite.matching_ids(connection, expression))
    match node:
        case Text():
            return _text(connection, shelf, shelf.words, node)
        case And():
            return _all(connection, shelf, node.parts)
        case Or():
            return _any(connection, shelf, node.parts)
        case Not():
            return ~evaluate(connection, shelf, node.part)
        case Valued():
            return _valued(shelf, node.conditions, unknown=False)
        case Unheard():
            return _valued(shelf, node.conditions, unknown=True)
        case Tagged():
            return shelf.mask(shelf.tagged[np.isin(shelf.tag, np.array(node.ids, np.int64))])
        case OnInstrument():
            return np.isin(shelf.instrument, np.array(node.ids, np.int64))
        case Taken():
            return _taken(shelf, node)
        case Has():
            return shelf.has[node.what]
        case _:
            query = select(Patch.id).where(Patch.state == LIVE, node.sql())
            return shelf.mask(sqlite.id_array(connection, query))


def _text(connection: Connection, shelf: Shelf, words: WordList | None, node: Text) -> Flags:
    """One word from memory. For a phrase the patches that have all its words are known, the file knows their order."""
    if words is not None:
        *front, last = node.words
        size = len(shelf.live)
        mask = words.mask(last, node.column, size, whole=node.whole)
        for word in front:
            mask &= words.mask(word, node.column, size, whole=True)
        if not front or not mask.any():
            return mask
    return shelf.mask(sqlite.matching_ids(connection, node.expression))


def _all(connection: Connection, shelf: Shelf, parts: Iterable[Node]) -> Flags:
    mask = np.ones(len(shelf.live), np.bool_)
    for part in parts if shelf.words is not None else _joined(And, parts):
        mask &= evaluate(connection, shelf, part)
    return mask


def _any(connection: Connection, shelf: Shelf, parts: Iterable[Node]) -> Flags:
    mask = np.zeros(len(shelf.live), np.bool_)
    for part in parts if shelf.words is not None else _joined(Or, parts):
        mask |= evaluate(connection, shelf, part)
    return mask


def _joined(kind: type[And] | type[Or], parts: Iterable[Node]) -> Iterable[Node]:
    """The parts that are made of words as one, so that the word index is asked once."""
    texts: list[Node] = []
    for part in parts:
        if text_expression(part) is None:
            yield part
        else:
            texts.append(part)
    if texts:
        yield kind(tuple(texts)) if len(texts) > 1 else texts[0]


def _taken(shelf: Shelf, node: Taken) -> Flags:
    mask = np.ones(len(shelf.live), np.bool_)
    if node.start is not None:
        mask &= shelf.taken >= node.start
    if node.end is not None:
        mask &= shelf.taken < node.end
    return mask


def _valued(shelf: Shelf, conditions: Iterable[Condition], *, unknown: bool) -> Flags:
    contents = []
    for condition in conditions:
        for place in condition.places:
            matrix = shelf.matrices.get(place.layout_id)
            if matrix is None:
                continue
            codes = matrix.column(place.parameter)
            hit = np.zeros(len(codes), np.bool_)
            for low, high in [(0, 0)] if unknown else condition.codes(place):
                hit |= (codes >= low) & (codes <= high)
            contents.append(matrix.contents[hit])
    return shelf.contents_mask(np.concatenate(contents) if contents else np.empty(0, np.int64))
