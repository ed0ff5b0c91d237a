"""Commands whose modules are imported when they run: listing them, or running one, loads none of the others."""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any, ClassVar

import typer
from typer.core import TyperCommand, TyperGroup


@dataclass(frozen=True)
class Command:
    """Where a command is, and what the list of commands says of it.

    Attributes:
        module: that holds it.
        name: of the function, or of the ``Typer`` with commands of its own, in the module.
        brief: the first sentence of its help.
    """

    module: str
    name: str
    brief: str

    def load(self, called: str) -> Any:
        """The command itself."""
        found = getattr(import_module(self.module), self.name)
        if isinstance(found, typer.Typer):
            return typer.main.get_group(found)
        alone = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode="rich")
        alone.command(called)(found)
        return typer.main.get_command(alone)


class _Loaded(MutableMapping[str, Any]):
    """Commands by name, each loaded when it is first asked for."""

    def __init__(self, known: MutableMapping[str, Command]) -> None:
        self._known = known
        self._loaded: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._loaded:
            self._loaded[name] = self._known[name].load(name)
        return self._loaded[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._loaded[name] = command

    def __delitem__(self, name: str) -> None:
        self._loaded.pop(name, None)
        self._known.pop(name)

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys((*self._known, *self._loaded)))

    def __len__(self) -> int:
        return len({*self._known, *self._loaded})

    def __contains__(self, name: object) -> bool:
        return name in self._known or name in self._loaded


class LazyGroup(TyperGroup):
    """A group of such commands; a class that inherits says which."""

    known: ClassVar[dict[str, Command]]

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self.commands = _Loaded(dict(self.known))
        self._is_listing = False

    def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ARG002 - the parser calls it so
        """A command; where all are listed, one that has its name and its first sentence alone."""
        if self._is_listing and cmd_name in self.known:
            return TyperCommand(cmd_name, help=self.known[cmd_name].brief)
        return self.commands.get(cmd_name)

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002 - likewise
        """Their names, in the order in which a person needs them."""
        return list(self.commands)

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """The help of the group."""
        self._is_listing = True
        try:
            super().format_help(ctx, formatter)
        finally:
            self._is_listing = False
