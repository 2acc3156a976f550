"""From a typed line to one query object. What cannot be understood is left out and said; the rest still works.

A line is words and conditions side by side; all must hold. `or`, `not` and parentheses as in speech; quotes keep
words together. `tag:storm`, `note:gust`, `before:march` ask in one place (keys.py). A parameter's name with a
comparison asks for its value in display units: `cutoff > 2 kHz`, `wave = saw`, `drive unknown`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from typing import cast

from librarian.collection.folding import words

from .keys import KEYS, OF_TIME, Given, NotUnderstoodError
from .measures import Comparison, understood
from .measures import ranges as exact_ranges
from .names import ends_a_name, named_tokens
from .nodes import EVERYTHING, And, Condition, Node, Not, Or, Text, Unheard, Valued
from .problem import Problem
from .tokens import LONGEST_LINE, Token, in_quotes
from .vocabulary import Control, Vocabulary

#: Parentheses deeper than this were not typed by a person.
DEEPEST = 40
#: Words that a typed value or a date may have.
VALUE_WORDS = 4
_RESERVED = frozenset({"and", "or", "not"})


@dataclass(frozen=True, slots=True)
class Parsed:
    """`node`: what was understood (everything, when nothing was asked). `problems`: what was not, left to right."""

    line: str
    node: Node
    problems: tuple[Problem, ...] = ()


def parse(line: str, vocabulary: Vocabulary, now: datetime) -> Parsed:
    """Never raises for anything typed. `now`: aware, in the person's time zone, for dates."""
    parser = _Parser(line, vocabulary, now)
    node = parser.whole()
    return Parsed(line, node, tuple(sorted(parser.problems, key=lambda problem: problem.start)))


class _Parser:
    def __init__(self, line: str, vocabulary: Vocabulary, now: datetime) -> None:
        self._line, self._vocabulary, self._now = line, vocabulary, now
        self._tokens: Sequence[Token] = named_tokens(line, vocabulary)
        self._at = 0
        self._depth = 0
        self._in_names = self._reserved_in_names()
        self.problems: list[Problem] = []

    # ---- the shape of a line -------------------------------------------------------------------------------------

    def whole(self) -> Node:
        """The whole line."""
        if len(self._line) > LONGEST_LINE:
            self._complain(
                f"Only the first {LONGEST_LINE} signs of this line are looked at.", LONGEST_LINE, len(self._line)
            )
        parts: list[Node] = []
        while self._token is not None:
            part = self._either()
            if part is not None:
                parts.append(part)
            stray = self._token
            if stray is not None and stray.kind == ")":
                self._complain("There is no parenthesis that this one closes.", stray.start, stray.end)
                self._at += 1
        return _all(parts) or EVERYTHING

    @property
    def _token(self) -> Token | None:
        return self._tokens[self._at] if self._at < len(self._tokens) else None

    def _says(self, word: str) -> bool:
        token = self._token
        if token is None or self._at in self._in_names:
            return False
        return token.kind == "word" and token.text.casefold() == word

    def _reserved_in_names(self) -> frozenset[int]:
        """Places of the words `and`, `or`, `not` that belong to a control's name: “Voice and output Volume > 40 %”."""
        found: set[int] = set()
        for after, token in enumerate(self._tokens):
            if not ends_a_name(token):
                continue
            longest = after
            while longest > max(0, after - self._vocabulary.longest) and self._tokens[longest - 1].kind == "word":
                longest -= 1
            for first in range(longest, after):
                reserved = [at for at in range(first, after) if self._tokens[at].text.casefold() in _RESERVED]
                if not reserved:
                    break
                if self._vocabulary.control(self._name(first, after - first)):
                    found.update(reserved)
                    break
        return frozenset(found)

    def _complain(self, sentence: str, start: int, end: int, replacement: str = "") -> None:
        self.problems.append(Problem(sentence, start, end, replacement))

    def _either(self) -> Node | None:
        """Conditions, with `or` between some."""
        known = len(self.problems)
        first = self._both()
        sides: list[Node] = [] if first is None else [first]
        broken_first = len(self.problems) > known
        while self._says("or"):
            token = cast(Token, self._token)
            self._at += 1
            known = len(self.problems)
            side = self._both()
            # What is missing because it was not understood has been complained of already.
            if (not sides and not broken_first) or (side is None and len(self.problems) == known):
                self._complain("“or” needs something on both sides.", token.start, token.end)
            if side is not None:
                sides.append(side)
        return _any(sides)

    def _both(self) -> Node | None:
        """Conditions side by side."""
        parts: list[Node] = []
        while (token := self._token) is not None and token.kind != ")" and not self._says("or"):
            if self._says("and"):
                self._at += 1
                continue
            part = self._not()
            if part is not None:
                parts.append(part)
        return _all(parts)

    def _not(self) -> Node | None:
        if not self._says("not"):
            return self._one()
        token = cast(Token, self._token)
        self._at += 1
        following = self._token
        if following is None or following.kind == ")" or self._says("or") or self._says("and"):
            self._complain("“not” needs something after it.", token.start, token.end)
            return None
        if self._depth >= DEEPEST:
            self._complain("That is nested too deeply.", token.start, token.end)
            return None
        self._depth += 1
        part = self._not()
        self._depth -= 1
        return None if part is None else Not(part)

    def _one(self) -> Node | None:
        token = cast(Token, self._token)
        if token.kind == "(":
            return self._group(token)
        if token.kind == "key":
            return self._keyed(token)
        if token.kind == "compare":
            self._nameless(token)
            return None
        if token.kind == "quoted":
            return self._quoted(token)
        here = self._at
        named = self._control()
        # A name that was taken but not understood must not be looked for as a word.
        if named is not None or self._at > here:
            return named
        self._at += 1
        return _text(token.text)

    def _group(self, token: Token) -> Node | None:
        self._at += 1
        if self._depth >= DEEPEST:
            self._complain("That is nested too deeply.", token.start, token.end)
            return None
        self._depth += 1
        inner = self._either()
        self._depth -= 1
        closing = self._token
        if closing is not None and closing.kind == ")":
            self._at += 1
        else:
            self._complain("This parenthesis is not closed.", token.start, token.end)
        return inner

    def _quoted(self, token: Token) -> Node | None:
        self._at += 1
        if token.open_end:
            self._complain("This quotation is not closed.", token.start, token.end, f"“{token.text.strip()}”")
        found = tuple(words(token.text))
        return Text(found, whole=not token.open_end) if found else None

    # ---- words with a colon --------------------------------------------------------------------------------------

    def _keyed(self, token: Token) -> Node | None:
        self._at += 1
        key = token.text.casefold()
        if key in KEYS:
            return self._of_key(token, KEYS[key], several=key in OF_TIME)
        controls = self._vocabulary.control(" ".join(words(key)))
        if controls:
            return self._compared(controls, "=", token.start, token)
        near = get_close_matches(key, KEYS, 1, 0.5)
        self._complain(
            f"Nothing here is asked with “{token.text}:”. Quotes make it plain words.",
            token.start,
            token.end,
            f"{near[0]}:" if near else "",
        )
        following = self._token
        self._at += self._values(several=False)[0][2] if following is not None and self._goes_on(following) else 0
        return None

    def _of_key(self, token: Token, make: Callable[[Given], Node], *, several: bool) -> Node | None:
        candidates = self._values(several=several)
        trouble: NotUnderstoodError | None = None
        start, end = token.start, token.end
        for text, quoted, taken, stop in candidates:
            try:
                node = make(Given(text, quoted, self._vocabulary, self._now))
            except NotUnderstoodError as error:
                trouble, last, end = error, taken, stop
                continue
            self._at += taken
            return node
        if trouble is None:
            self._complain(f"Say what “{token.text}:” asks for.", start, end)
            return None
        first = self._tokens[self._at].start
        self._at += last
        self._complain(str(trouble), first, end, in_quotes(trouble.near))
        return None

    def _values(self, *, several: bool) -> list[tuple[str, bool, int, int]]:
        """(text, quoted, tokens taken, end in the line) of what may be the value here, the longest first."""
        token = self._token
        if token is None or token.kind in {"(", ")", "compare"}:
            return []
        if token.kind == "quoted":
            return [(token.text, not token.open_end, 1, token.end)]
        if token.kind == "key" and not token.glued:
            return []
        # What is written without a blank belongs together: "tag:scene:storm".
        glued = 1
        while self._at + glued < len(self._tokens) and self._goes_on(self._tokens[self._at + glued]):
            glued += 1
        found = [glued]
        if several:
            while len(found) < VALUE_WORDS and self._plain(self._at + found[-1]):
                found.append(found[-1] + 1)
        return [self._piece(count) for count in reversed(found)]

    @staticmethod
    def _goes_on(token: Token) -> bool:
        return token.glued and token.kind in {"word", "key"}

    def _plain(self, place: int) -> bool:
        """A word that is none of the language's own stands at `place`."""
        if place >= len(self._tokens):
            return False
        token = self._tokens[place]
        return token.kind == "word" and (place in self._in_names or token.text.casefold() not in _RESERVED)

    def _piece(self, count: int) -> tuple[str, bool, int, int]:
        first, last = self._tokens[self._at], self._tokens[self._at + count - 1]
        return self._line[first.start : last.end], False, count, last.end

    # ---- parameters ----------------------------------------------------------------------------------------------

    def _control(self) -> Node | None:
        """A parameter's name here, with a comparison or `unknown` after it; None when there is none (nothing taken)."""
        run = 0
        while run <= self._vocabulary.longest and self._plain(self._at + run):
            run += 1
        if not run:
            return None
        after = self._tokens[self._at + run] if self._at + run < len(self._tokens) else None
        if after is not None and after.kind == "compare":
            controls = self._named(self._at, run)
            if controls:
                start = self._tokens[self._at].start
                self._at += run + 1
                return self._compared(controls, cast(Comparison, after.text), start, after)
            if run == 1:
                self._no_such()
                return None
        for length in range(run - 1, 0, -1):
            if self._tokens[self._at + length].text.casefold() != "unknown":
                continue
            controls = self._named(self._at, length)
            if controls:
                self._at += length + 1
                return Unheard(_conditions(controls))
        return None

    def _name(self, first: int, length: int) -> str:
        return " ".join(word for token in self._tokens[first : first + length] for word in words(token.text))

    def _named(self, first: int, length: int) -> tuple[Control, ...]:
        name = self._name(first, length)
        return self._vocabulary.control(name) or (self._vocabulary.begun(name) if length == 1 else ())

    def _no_such(self) -> None:
        token = self._tokens[self._at]
        near = self._vocabulary.nearest(" ".join(words(token.text)))
        self._complain(f"No instrument here has a control called “{token.text}”.", token.start, token.end, near)
        self._at += 2
        self._at += self._value_of_nobody()

    def _value_of_nobody(self) -> int:
        """How many tokens are the value that a control nobody has was compared with: "900", "900 Hz", "saw"."""
        candidates = self._values(several=True)
        for text, quoted, taken, _stop in candidates:
            # A number with its unit belongs together where any control here would read it so.
            if not quoted and self._other_unit(text, taken):
                return taken
        return candidates[-1][2] if candidates else 0

    def _nameless(self, compare: Token) -> None:
        self._complain(f"Say which control is compared with “{compare.text}”.", compare.start, compare.end)
        self._at += 1
        taken = self._values(several=False)
        self._at += taken[0][2] if taken else 0

    def _compared(self, controls: Sequence[Control], compare: Comparison, start: int, token: Token) -> Node | None:
        candidates = self._values(several=True)
        label = controls[0].parameter.label
        if not candidates:
            parameter = controls[0].parameter
            middle = parameter.display((parameter.low + parameter.high) // 2)
            self._complain(f"Say what {label} is compared with, for example “{middle}”.", start, token.end)
            return None
        for text, quoted, taken, stop in candidates:
            conditions = _conditions(controls, compare, text)
            # A position that is itself called so is meant by its name in quotation marks.
            if text.casefold() == "unknown" and compare in {"=", "!="} and not (quoted and conditions):
                self._at += taken
                return Unheard(_conditions(controls)) if compare == "=" else Not(Unheard(_conditions(controls)))
            if not conditions and self._other_unit(text, taken):
                self._wrong_unit(controls, taken, stop)
                return None
            if conditions:
                self._at += taken
                return Valued(conditions)
        self._no_value(controls, candidates[-1])
        return None

    def _other_unit(self, text: str, taken: int) -> bool:
        """A number with a unit that some other control here is measured in."""
        return taken == 2 and text[:1] in "+-−.0123456789" and self._vocabulary.reads(text)

    def _wrong_unit(self, controls: Sequence[Control], taken: int, end: int) -> None:
        parameter = controls[0].parameter
        start, unit = self._tokens[self._at].start, self._tokens[self._at + 1].text
        middle = parameter.display((parameter.low + parameter.high) // 2)
        self._complain(f"{parameter.label} is not measured in “{unit}”; it is for example “{middle}”.", start, end)
        self._at += taken

    def _no_value(self, controls: Sequence[Control], candidate: tuple[str, bool, int, int]) -> None:
        text, _, taken, end = candidate
        label = controls[0].parameter.label
        first = self._tokens[self._at].start
        self._at += taken
        names = [name for control in controls for name in control.parameter.positions]
        near = get_close_matches(text, names, 1, 0.4)
        offer = f" It has: {', '.join(dict.fromkeys(names[:12]))}." if names else ""
        self._complain(f"{label} cannot be “{text}”.{offer}", first, end, in_quotes(near[0]) if near else "")


def _conditions(
    controls: Sequence[Control], compare: Comparison | None = None, text: str = ""
) -> tuple[Condition, ...]:
    """One condition for each chart revision that understands the value; without `compare`, for each that has it."""
    found = []
    for control in controls:
        typed = None if compare is None else understood(control.parameter, text)
        if compare is not None and typed is None:
            continue
        ranges = exact_ranges(control.parameter, compare, typed) if compare and typed else ()
        found.append(Condition(control.chart, control.revision, control.parameter, control.places, ranges))
    return tuple(found)


def _text(text: str) -> Node | None:
    """One typed word; several, when signs inside it separate ("mid-fi")."""
    found = tuple(words(text))
    return Text(found) if found else None


def _all(parts: Sequence[Node]) -> Node | None:
    return None if not parts else parts[0] if len(parts) == 1 else And(tuple(parts))


def _any(parts: Sequence[Node]) -> Node | None:
    return None if not parts else parts[0] if len(parts) == 1 else Or(tuple(parts))
