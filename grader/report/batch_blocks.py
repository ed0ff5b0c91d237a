"""A batch plan in a report, from the document that planning wrote."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from grader.report.blocks import Block, Caveat, Text
from grader.table import Table


def batch_blocks(document: Mapping[str, Any]) -> Iterator[Block]:
    """What a batch needs, gives off and leaves, in the plan's own words; and what deserves less trust.

    Raises:
        KeyError, TypeError: the document is not a batch plan.
    """
    for line in document["lines"]:
        yield Text(str(line))
    for table in document["tables"]:
        rows = tuple(tuple(map(str, row)) for row in table["rows"])
        yield Table(tuple(map(str, table["columns"])), rows, str(table["title"]))
    for warning in document["warnings"]:
        yield Caveat(str(warning["message"]), str(warning["advice"]), str(warning["code"]))
    for statement in document["statements"]:
        yield Text(str(statement))
