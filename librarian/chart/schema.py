"""The language of charts as JSON Schema, for editors that complete and check TOML while it is written."""

from __future__ import annotations

from typing import Any

from librarian.chart.language.root import ChartTable


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) made from the very models that read a chart."""
    found = ChartTable.model_json_schema(by_alias=True, mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found, "title": "Chart"}
