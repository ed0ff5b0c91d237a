"""Options that several commands share, as the fields of a dataclass."""

from __future__ import annotations

import dataclasses
import functools
import inspect
from collections.abc import Callable
from typing import Any, get_type_hints

CommandFunction = Callable[..., None]


def with_options(kind: type[Any]) -> Callable[[CommandFunction], CommandFunction]:
    """A command that takes the fields of a dataclass as options of its own, and gets them as its ``options``.

    Args:
        kind: a dataclass whose fields have defaults and are annotated as Typer wants it.
    """

    def take(command: CommandFunction) -> CommandFunction:
        hints = {**get_type_hints(kind, include_extras=True), **get_type_hints(command, include_extras=True)}
        own = [p for p in inspect.signature(command).parameters.values() if p.name != "options"]
        fields = dataclasses.fields(kind)
        more = [inspect.Parameter(f.name, inspect.Parameter.KEYWORD_ONLY, default=f.default) for f in fields]
        parameters = [p.replace(kind=inspect.Parameter.KEYWORD_ONLY, annotation=hints[p.name]) for p in (*own, *more)]

        @functools.wraps(command)
        def run(**given: Any) -> None:
            options = kind(**{f.name: given.pop(f.name) for f in fields})
            command(**given, options=options)

        run.__dict__["__signature__"] = inspect.Signature(parameters)
        run.__annotations__ = {p.name: p.annotation for p in parameters}
        del run.__dict__["__wrapped__"]  # so that nobody looks through to the command's own signature
        return run

    return take
