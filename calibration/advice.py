"""Advice in each front end's own words.

An error or a warning states a problem and carries advice that fits everywhere: it names no command, option or
button. A front end that can say more keeps its words in its own ``advice.toml``, by remedy (the code, if the error
names no other), and fills in the error's values. A language is such a file with its name inside
(``advice.de.toml``); for anything that it leaves out, the words of ``advice.toml`` apply.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Protocol

from calibration.packaged import packaged_toml

# Names the language of advice, such as "de", for the command line and the page.
LANGUAGE_VARIABLE = "GRADER_LANGUAGE"


class Advised(Protocol):
    """An error or a warning: its problem and its advice."""

    @property
    def code(self) -> str:
        """Stable code of its kind."""

    @property
    def message(self) -> str:
        """The problem."""

    @property
    def advice(self) -> str:
        """The next step, in words that fit everywhere."""

    @property
    def remedy(self) -> str:
        """Name of the advice in the front ends' files; empty if the code names it."""

    @property
    def values(self) -> Mapping[str, object]:
        """Values for placeholders in those words."""


@dataclass(frozen=True)
class Wording:
    """One front end's advice in one language.

    Attributes:
        texts: by remedy, with ``{names}`` of values.
    """

    texts: Mapping[str, str]

    def advice_of(self, item: Advised) -> str:
        """The advice in this front end's words, or the item's own advice if there are none.

        A warning from a saved document has lost its values; the item's own advice also replaces words that need them.
        """
        text = self.texts.get(item.remedy or item.code)
        if text is None:
            return item.advice
        try:
            return text.format_map(item.values)
        except KeyError:
            return item.advice


def wording(package: str) -> Wording:
    """The words of a front end, in the language named by ``GRADER_LANGUAGE`` as far as they exist in it.

    Args:
        package: that contains ``advice.toml``.
    """
    return _wording(package, language())


def language() -> str:
    """The language named by ``GRADER_LANGUAGE``, such as "de"; empty if nothing was chosen."""
    return os.environ.get(LANGUAGE_VARIABLE, "").strip()


def languages(package: str) -> tuple[str, ...]:
    """The languages in which a front end's advice is available, besides the words of ``advice.toml``."""
    names = (each.name.split(".") for each in resources.files(package).iterdir())
    return tuple(sorted(parts[1] for parts in names if len(parts) == 3 and parts[0] == "advice"))


@cache
def _wording(package: str, chosen: str) -> Wording:
    texts: dict[str, str] = packaged_toml(package, "advice.toml")
    if chosen in languages(package):
        texts |= packaged_toml(package, f"advice.{chosen}.toml")
    return Wording(texts)
