"""Every public name has an example, and the handbook's examples give what the handbook says."""

from __future__ import annotations

import doctest
import importlib
import inspect
from collections.abc import Iterator
from typing import Any

import pytest

import grader
from tests.handbook import PAGE, blocks, in_floating_point, output_of

# the first argument of open_log is the place of a file; nothing of ours shows in its own module
_OPTIONS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def examples(name: str) -> Iterator[doctest.DocTest]:
    found = getattr(grader, name)
    module = importlib.import_module(found.__module__)
    for test in doctest.DocTestFinder(recurse=False).find(inspect.unwrap(found), name, module, globs={}):
        if test.examples:
            yield test


@pytest.mark.parametrize("name", grader.__all__)
@pytest.mark.usefixtures("remembered")
def test_every_public_name_has_an_example_that_holds(name: str) -> None:
    tests = list(examples(name))
    assert tests, f"grader.{name} has no example"
    for test in tests:
        told: list[str] = []
        failed, _ = doctest.DocTestRunner(optionflags=_OPTIONS).run(test, out=told.append)
        assert failed == 0, "".join(told)


def test_the_handbook_s_examples_give_what_it_says() -> None:
    names: dict[str, Any] = {}
    found = blocks(PAGE.read_text("utf-8"))
    assert len(found) > 10
    assert any(output for _, output in found)
    with in_floating_point():
        for code, output in found:
            assert output_of(code, names) == output, code


def test_the_handbook_names_every_public_name() -> None:
    text = PAGE.read_text("utf-8")
    assert [name for name in grader.__all__ if f"grader.{name}" not in text] == []
