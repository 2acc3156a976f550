"""Tables about how a value reads: curve, unit, decimals."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from librarian.chart.language.table import Label, Real, Table, Whole, wrong

ScaleName = Literal["linear", "exponential", "logarithmic", "square", "power", "table"]


class EndsTable(Table):
    """Words instead of a number at the ends of the range."""

    low: Label | None = Field(default=None, description="Text of the lowest value.", examples=["off"])
    high: Label | None = Field(default=None, description="Text of the highest value.", examples=["endless"])


class DisplayTable(Table):
    """From the exact value to what a person reads. `from` and `to` are in the unit, at the lowest and highest value."""

    scale: ScaleName = Field(default="linear", description="The curve between `from` and `to`.")
    from_: Real | None = Field(
        default=None,
        alias="from",
        description="Reading at the lowest value (the lowest that has no word in `ends`).",
        examples=[20],
    )
    to: Real | None = Field(default=None, description="Reading at the highest value.", examples=[20000])
    zero: Whole | None = Field(
        default=None,
        description="The value that reads 0; the reading then counts from it in steps of 1.",
        examples=[64],
    )
    exponent: Annotated[float, Field(gt=0, le=16)] | None = Field(
        default=None, description="power: the exponent of the share of the range.", examples=[3]
    )
    base: Annotated[float, Field(gt=1, le=1e6)] | None = Field(
        default=None,
        description="logarithmic: from + (to − from) · log(1 + (base − 1) · share) ÷ log(base); 10 if absent.",
    )
    points: list[Annotated[list[Real], Field(min_length=2, max_length=2)]] | None = Field(
        default=None,
        min_length=2,
        max_length=16384,
        description="table: pairs of value and reading, values rising, readings rising or falling throughout.",
        examples=[[[0, 0.0], [64, 1.5], [127, 12.0]]],
    )
    between: Literal["linear", "exponential"] = Field(
        default="linear", description="table: how it is interpolated between two points."
    )
    unit: str = Field(
        default="", max_length=12, description="Unit text behind the number.", examples=["Hz", "%", "ct", "st"]
    )
    decimals: Annotated[int, Field(ge=0, le=6)] | None = Field(
        default=None,
        description="Fixed number of decimals; absent: two significant digits, whole numbers never rounded.",
    )
    prefix: bool = Field(default=True, description="Hz and s (also ms): change to kHz, ms, µs where that reads better.")
    signed: bool | None = Field(
        default=None, description="Plus sign before positive readings; absent: when readings cross 0."
    )
    form: Literal["number", "note", "ratio"] = Field(
        default="number", description="number; note: a note name (60 is middle C); ratio: 4:1, below 1 as 1:4."
    )
    middle_c: Annotated[int, Field(ge=-2, le=8)] = Field(default=4, description="note: octave number of note 60.")
    ends: EndsTable | None = Field(
        default=None, description="Words at the ends, such as off.", examples=[{"low": "off"}]
    )

    @model_validator(mode="after")
    def _fits_together(self) -> DisplayTable:
        if self.scale == "table":
            if self.points is None:
                raise wrong("The scale “table” needs points", "Add points = [[value, reading], …].")
            if self.from_ is not None or self.to is not None:
                raise wrong("“from” and “to” have no meaning with scale = “table”", "Leave them out.")
        elif self.points is not None:
            raise wrong(f"“points” have no meaning with scale = “{self.scale}”", "Write scale = “table”.")
        if (self.from_ is None) != (self.to is None):
            raise wrong("“from” and “to” belong together", "Write both or neither.")
        if self.zero is not None and (self.scale != "linear" or self.from_ is not None):
            raise wrong("“zero” is for a plain linear display", "Leave out scale, from and to, or leave out zero.")
        if self.scale in {"exponential", "logarithmic", "square", "power"} and self.from_ is None:
            raise wrong(f"The scale “{self.scale}” needs from and to", "Add the readings at both ends.")
        if self.from_ is not None and self.to is not None:
            if self.from_ == self.to:
                raise wrong("“from” and “to” are the same reading", "Give the readings at both ends.")
            if self.scale == "exponential" and self.from_ * self.to <= 0:
                raise wrong("an exponential curve cannot touch or cross 0", "Give from and to the same sign, none 0.")
        if self.exponent is not None and self.scale != "power":
            raise wrong("“exponent” is for scale = “power”", "Leave it out.")
        if self.base is not None and self.scale != "logarithmic":
            raise wrong("“base” is for scale = “logarithmic”", "Leave it out.")
        if self.points is not None:
            self._check_points(self.points)
        return self

    def _check_points(self, points: list[list[float]]) -> None:
        values = [point[0] for point in points]
        readings = [point[1] for point in points]
        if any(b <= a for a, b in pairwise(values)):
            raise wrong("the values of points do not rise", "Order them from the lowest value to the highest.")
        up = all(b > a for a, b in pairwise(readings))
        down = all(b < a for a, b in pairwise(readings))
        if not up and not down:
            raise wrong("the readings of points neither rise nor fall throughout", "Use positions for such a control.")
        if self.between == "exponential" and min(readings) * max(readings) <= 0:
            raise wrong("exponential interpolation cannot touch or cross 0", "Write between = “linear”.")
