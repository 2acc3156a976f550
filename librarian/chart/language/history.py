"""Tables about how one revision of a chart became the next."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from librarian.chart.language.table import Table, Whole, wrong

Range = Annotated[list[Whole], Field(min_length=2, max_length=2)]
CHANGES = ("renamed", "rescaled", "split", "merged", "added", "removed", "moved")


class ChangeTable(Table):
    """What happened to one parameter (or a few): exactly one of the seven words. Those not named stayed the same."""

    renamed: str | None = Field(default=None, description="Id before; `to` is its id now.", examples=["voice.porta"])
    rescaled: str | None = Field(
        default=None,
        description="Id of a parameter whose range changed; `was` is its range before, `to` its new id if it has one.",
        examples=["lfo.rate1"],
    )
    split: str | None = Field(
        default=None, description="Id before, of one that became several; `into` are their ids.", examples=["lfo.mode"]
    )
    merged: Annotated[list[str], Field(min_length=2, max_length=16)] | None = Field(
        default=None,
        description="Ids before, of several that became one; `to` is its id, `ranges` their ranges.",
        examples=[["osc1.coarse", "osc1.fine"]],
    )
    added: str | None = Field(default=None, description="Id of a parameter that is new.", examples=["osc1.drift"])
    removed: str | None = Field(
        default=None, description="Id of one that is gone; `was` is its range.", examples=["voice.spread"]
    )
    moved: str | None = Field(
        default=None, description="Id of one that only travels differently now.", examples=["filter.drive"]
    )
    to: str | None = Field(default=None, description="renamed, rescaled, merged: id after.", examples=["voice.glide"])
    into: Annotated[list[str], Field(min_length=2, max_length=16)] | None = Field(
        default=None, description="split: ids after.", examples=[["lfo.shape1", "lfo.key-sync"]]
    )
    was: Range | None = Field(default=None, description="rescaled, split, removed: range before.", examples=[[0, 127]])
    ranges: Annotated[list[Range], Field(min_length=2, max_length=16)] | None = Field(
        default=None, description="merged: ranges before, in the order of the ids.", examples=[[[0, 127], [0, 127]]]
    )
    points: Annotated[list[Range], Field(min_length=2, max_length=16384)] | None = Field(
        default=None,
        description="rescaled: pairs of value before and value after, both rising; absent: one range spread over the "
        "other.",
        examples=[[[0, 0], [64, 300], [127, 1000]]],
    )
    by: Literal["copy", "digits"] = Field(
        default="copy",
        description="split, merged. copy: each gets the value, spread over its own range (merged: the first counts); "
        "digits: the values are the digits of one number, the most significant first.",
    )
    value: Whole | None = Field(
        default=None, description="added: its value in sounds from before; absent: unknown.", examples=[0]
    )
    lossless: bool = Field(
        default=False, description="true: the chart claims that every value comes back there and back; it is checked."
    )
    note: str = Field(default="", description="A remark for the person.")

    @property
    def word(self) -> str:
        """Which of the seven it is."""
        return next(word for word in CHANGES if getattr(self, word) is not None)

    @model_validator(mode="after")
    def _one_word(self) -> ChangeTable:
        words = [word for word in CHANGES if getattr(self, word) is not None]
        if len(words) != 1:
            said = " and ".join(words) if words else "none of them"
            raise wrong(
                f"a change is exactly one of {', '.join(CHANGES)}; this one is {said}", "Write a table for each change."
            )
        needs = {
            "renamed": {"to"}, "rescaled": {"was"}, "split": {"into", "was"}, "merged": {"to", "ranges"},
            "added": set(), "removed": {"was"}, "moved": set(),
        }[words[0]]  # fmt: skip
        takes = needs | {"rescaled": {"to", "points"}, "added": {"value"}}.get(words[0], set())
        for key in ("to", "into", "was", "ranges", "points", "value"):
            given = getattr(self, key) is not None
            if given and key not in takes:
                raise wrong(f"“{key}” has no meaning with {words[0]}", "Leave it out.")
            if not given and key in needs:
                raise wrong(f"{words[0]} needs “{key}”", f"Add {key} = ….")
        if self.merged is not None and self.ranges is not None and len(self.merged) != len(self.ranges):
            raise wrong(f"{len(self.ranges)} ranges for {len(self.merged)} parameters", "Give one for each.")
        return self


class HistoryTable(Table):
    """What changed from revision `number` − 1 to revision `number`."""

    number: Annotated[int, Field(ge=2, le=1_000_000)] = Field(
        description="The later of the two revisions.", examples=[4]
    )
    changes: Annotated[list[ChangeTable], Field(max_length=65536)] = Field(
        default_factory=list, description="All changes.", examples=[[{"renamed": "voice.porta", "to": "voice.glide"}]]
    )
    note: str = Field(default="", description="A remark for the person.")
