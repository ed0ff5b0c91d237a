"""A code means one thing, and whoever meets it is told what to do, on the command line as on the page."""

from __future__ import annotations

import ast
import importlib
import pickle
import re
import string
import tomllib
from collections import defaultdict
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import typer

from app.common.show import advice_of as page_advice
from calibration.advice import LANGUAGE_VARIABLE, Wording, languages, wording
from calibration.errors import DataFileError, GraderError, LogError, UsageError
from calibration.notices import Notice, NoticeDefinition, Notices
from grader.cli.app import app, main
from grader.cli.output import advice_of as cli_advice
from grader.valuation.sets import load_set
from tests.codes import KINDS, ROOT, SHARED, WORKED_OUT, sites, trees

REGISTRY: Mapping[str, Mapping[str, str]] = tomllib.loads((ROOT / "grader/codes.toml").read_text("utf-8"))
CLI, PAGE = (tomllib.loads((ROOT / path / "advice.toml").read_text("utf-8")) for path in ("grader/cli", "app/common"))
COMMAND = re.compile(r"(?<![\w-])--[a-z][\w-]*|\bgrader [a-z-]+")
_NO_ADVICE = {"help-shown"}  # its help has been printed


def placeholders(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


# ---------------------------------------------------------------- one registry


def test_the_registry_holds_every_code_that_is_given_and_no_other() -> None:
    kinds = defaultdict(set)
    for site in sites():
        kinds[site.code].add(site.kind)
    assert kinds == {code: {kind} for kind, codes in REGISTRY.items() for code in codes}


def test_a_code_stands_in_one_table() -> None:
    codes = [code for table in REGISTRY.values() for code in table]
    assert len(codes) == len(set(codes)) > 300


def test_the_registry_says_what_a_code_means() -> None:
    for code, meaning in (each for codes in REGISTRY.values() for each in codes.items()):
        assert re.fullmatch(r"[a-z]+(-[a-z0-9]+)*", code)
        assert re.fullmatch(r"[A-Z].*\w.*\.", meaning), code
        assert not COMMAND.search(meaning), code


def test_a_code_that_several_parts_give_was_looked_at() -> None:
    parts = defaultdict(set)
    for site in sites():
        parts[site.code].add(site.part)
    several = {code for code, of in parts.items() if len(of) > 1}
    assert several == SHARED, "does the code mean the same in all its places? Then list it; if not, take another"


def test_no_two_codes_mean_the_same() -> None:
    meanings = [meaning for table in REGISTRY.values() for meaning in table.values()]
    assert len(meanings) == len(set(meanings))


def test_codes_that_are_worked_out_are_still_worked_out_there() -> None:
    for (path, written), codes in WORKED_OUT.items():
        firsts = {ast.unparse(n.args[0]) for n in ast.walk(trees()[path]) if isinstance(n, ast.Call) and n.args}
        assert written in firsts, path
        literals = {n.value for n in ast.walk(trees()[path]) if isinstance(n, ast.Constant)}
        fixed = re.sub(r"\{.*?\}", "", written.strip("f'"))  # of an f-string, what does not vary
        varying = {code.replace(fixed, "") for code in codes} if written.startswith("f'") else set(codes)
        assert varying <= literals, path


def test_no_class_of_errors_is_left_out() -> None:
    for path, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and {ast.unparse(base) for base in node.bases} & {
                *KINDS,
                "GraderError",
            }:
                assert node.name in KINDS, path


def test_every_warning_is_one_that_its_part_defines() -> None:
    given = 0
    for path, tree in trees().items():
        for call in (
            node for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        ):
            if call.func.id.endswith("notice") and call.args and isinstance(call.args[0], ast.Constant):
                part = getattr(importlib.import_module(path.removesuffix(".py").replace("/", ".")), call.func.id)
                assert call.args[0].value in {d.code for d in part.definitions}, f"{path}:{call.lineno}"
                given += 1
    assert given > 30


def test_a_package_refuses_a_code_that_it_has_twice() -> None:
    once = NoticeDefinition("a", "m", "x")
    with pytest.raises(ValueError, match="twice"):
        Notices(once, NoticeDefinition("a", "other", "y"))
    assert Notices(once)("a") == Notice("a", "m", "x")


# ---------------------------------------------------------------- advice in two front ends


@pytest.mark.parametrize("code", sorted({site.code for site in sites()} - _NO_ADVICE))
def test_every_code_has_words_in_both_front_ends(code: str) -> None:
    for site in (site for site in sites() if site.code == code):
        values = dict.fromkeys(site.values, "x")
        advice = "Do this." if site.advice is None else site.advice
        error = GraderError(code, "What is wrong.", advice, remedy=site.remedy, values=values)
        on_the_page, on_the_command_line = page_advice(error), cli_advice(error)
        for told in (on_the_page, on_the_command_line):
            assert re.search(r"[\w…]", told), site
            assert "{" not in told, site
        assert not wrong_in(on_the_command_line), site
        if not site.where.startswith("grader/cli/"):
            assert not COMMAND.search(on_the_page), site
            assert not COMMAND.search(str(error)), site


def test_both_front_ends_word_the_same_remedies_and_only_those_that_are_named() -> None:
    assert set(CLI) == set(PAGE)
    assert set(CLI) <= {site.remedy for site in sites()}


def test_words_are_filled_in_with_what_every_place_gives_and_nothing_is_given_in_vain() -> None:
    for site in sites():
        wanted = placeholders(CLI.get(site.remedy, "")) | placeholders(PAGE.get(site.remedy, ""))
        if site.remedy != "question-unanswered":  # the command line's own: its value is for other languages
            assert wanted == site.values, site


def test_one_remedy_is_one_advice_wherever_it_is_named() -> None:
    for remedy in CLI:
        said = {s.advice for s in sites() if s.remedy == remedy and s.advice and s.where[:11] != "grader/cli/"}
        assert len(said) <= 1, f"give one of the places of '{remedy}' a remedy of its own"


# ---------------------------------------------------------------- who names commands


def texts(path: str) -> Iterator[str]:
    """The texts of a module but its docstrings."""
    docs = set()
    for node in ast.walk(trees()[path]):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and node.body:
            first = node.body[0]
            if isinstance(first, ast.Expr):
                docs.add(id(first.value))
    for node in ast.walk(trees()[path]):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value


# Options of our own small programs, and a style sheet's variables.
_OWN_OPTIONS = ("grader/coverage/training/", "grader/benchmark/", "calibration/belief/check.py")
_NOT_WORDS = {"grader/report/lot_html.py": {"--line"}, "app/server/serve.py": {"--address", "--port", "--log"},
              "app/lots/keep.py": {"--log"}}  # fmt: skip


def test_nothing_but_the_command_line_names_commands() -> None:
    for path in trees():
        if not path.startswith(("grader/cli/", *_OWN_OPTIONS)):
            found = {match for text in texts(path) for match in COMMAND.findall(text)}
            assert found <= _NOT_WORDS.get(path, set()), path


def test_no_other_file_of_the_page_names_commands() -> None:
    shown = [path for path in (ROOT / "app").rglob("*.*") if path.suffix in {".js", ".html", ".toml"}]
    assert len(shown) > 3
    for path in shown:
        assert not re.search(r"\bgrader [a-z]+", path.read_text("utf-8")), path


def commands() -> dict[str, set[str]]:
    """Every command by its words, with its options."""

    def walk(node: Any, path: str) -> Iterator[tuple[str, set[str]]]:
        yield path, {option for parameter in node.params for option in parameter.opts}
        for name, child in getattr(node, "commands", {}).items():
            yield from walk(child, f"{path} {name}")

    return dict(walk(typer.main.get_command(app), "grader"))


COMMANDS = commands()
GROUPS = {path for path in COMMANDS if any(other.startswith(f"{path} ") for other in COMMANDS)}


def command_in(words: str) -> str:
    """The longest command that a text begins with."""
    return max((c for c in COMMANDS if re.match(rf"{c}(?![\w-])", words)), key=len)


def wrong_in(text: str) -> list[str]:
    """What a text names as a command or an option that there is none of.

    An option in a command's own clause must be one of that command; elsewhere the reader's command is not known.
    """
    wrong = []
    options_of_all = {option for options in COMMANDS.values() for option in options} | {"--help"}
    for clause in re.split(r"[,;.:()](?=\s|$)|[()]", text):
        start = re.search(r"\bgrader [a-z]", clause)
        named = command_in(clause[start.start() :]) if start else ""
        known = COMMANDS[named] | {"--help"} if named else options_of_all
        wrong += [named] if named in GROUPS else []
        wrong += [option for option in re.findall(r"(?<![\w-])--[a-z][\w-]*", clause) if option not in known]
    return wrong


@pytest.mark.parametrize(
    "text", ["See grader log lsit.", "Give --lenght.", "Try grader value --paper FILE.", "See: grader log"]
)
def test_that_check_finds_what_is_wrong(text: str) -> None:
    assert wrong_in(text)


# ---------------------------------------------------------------- what a person sees


def test_a_typo_in_assumptions_is_advised_on_without_commands_but_on_the_command_line(tmp_path: Path) -> None:
    wrong = tmp_path / "mine.toml"
    wrong.write_text("[payabel]\nshare = '93 %'\n")
    with pytest.raises(DataFileError) as caught:
        load_set(str(wrong), tmp_path)
    assert caught.value.code == "assumptions-invalid"
    assert not COMMAND.search(page_advice(caught.value))
    assert not COMMAND.search(str(caught.value))
    assert "grader value --example" in cli_advice(caught.value)


def test_a_saved_warning_that_names_an_option_is_shown_in_each_front_ends_words() -> None:
    saved = Notice("tilt-unknown", "A single known length.", "Give a known rectangle (--rectangle), or print it.")
    assert "--" not in page_advice(saved)
    assert "(--rectangle)" in cli_advice(saved)


def test_a_saved_warning_that_nobody_knows_any_more_shows_what_it_says() -> None:
    saved = Notice("of-long-ago", "Something was so.", "Do this.")
    assert page_advice(saved) == cli_advice(saved) == "Do this."


def test_words_that_lack_a_value_give_way_to_those_that_fit_everywhere() -> None:
    saved = Notice("log-set-aside", "There is no log.", "Restore one of them.")
    assert cli_advice(saved) == "Restore one of them."
    error = LogError("log-set-aside", "m", "a", values={"copy": Path("a{b}.sqlite"), "log": Path("b")})
    assert 'grader log restore "a{b}.sqlite" --log "b"' in cli_advice(error)


def test_an_error_keeps_its_remedy_and_values_through_processes_and_new_messages() -> None:
    error = UsageError("a", "m", "x", remedy="r", values={"n": 1})
    for same in (pickle.loads(pickle.dumps(error)), LogError.of(error), Notice.of(error)):
        assert (same.code, same.message, same.advice, same.remedy, same.values) == ("a", "m", "x", "r", {"n": 1})
    assert DataFileError.of(error, "new").message == "new"
    assert str(error) == "m x"


# ---------------------------------------------------------------- languages


@pytest.fixture
def in_german(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A front end whose advice was put into another language in part."""
    package = tmp_path / "some_front_end"
    package.mkdir()
    (package / "__init__.py").touch()
    (package / "advice.toml").write_text('log-missing = "Start one."\nno-scale = "Lay the target there."\n')
    (package / "advice.de.toml").write_text('log-missing = "Legen Sie eines an."\n')
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setenv(LANGUAGE_VARIABLE, "de")
    return package.name


def test_advice_is_said_in_the_language_that_was_chosen_and_otherwise_in_english(in_german: str) -> None:
    assert languages(in_german) == ("de",)
    words: Wording = wording(in_german)
    assert words.advice_of(LogError("log-missing", "m", "a")) == "Legen Sie eines an."
    assert words.advice_of(LogError("no-scale", "m", "a")) == "Lay the target there."


def test_without_a_choice_advice_is_in_english(in_german: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(LANGUAGE_VARIABLE)
    assert wording(in_german).advice_of(LogError("log-missing", "m", "a")) == "Start one."


def test_a_language_that_nobody_wrote_is_refused_before_anything_is_done(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv(LANGUAGE_VARIABLE, "xx")
    monkeypatch.setattr("sys.argv", ["grader", "target", "--paper", "a4"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == UsageError.exit_code
    assert LANGUAGE_VARIABLE in capsys.readouterr().err


@pytest.mark.parametrize("package", ["grader.cli", "app.common"])
def test_every_language_words_only_what_there_is(package: str) -> None:
    base = {site.remedy for site in sites()}
    for language in languages(package):
        path = ROOT / package.replace(".", "/") / f"advice.{language}.toml"
        for remedy, text in tomllib.loads(path.read_text("utf-8")).items():
            assert remedy in base
            assert all(placeholders(text) <= site.values for site in sites() if site.remedy == remedy)
