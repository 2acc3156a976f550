"""What all answers are, and the answer of a verb that could not."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict


class Answer(BaseModel):
    """What all of them are; built only when used, as a verb uses few."""

    model_config = ConfigDict(defer_build=True)


class Problem(Answer):
    """Why something was not done."""

    kind: Literal["outside", "bad input", "refused", "cancelled", "problem"]
    sentence: str
    hint: str


class Trouble(Answer):
    """The whole answer when a verb could not."""

    verb: str
    ok: Literal[False]
    problem: Problem
