"""The command tree and the one place where errors become exit codes."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from calibration.advice import LANGUAGE_VARIABLE, language, languages
from calibration.errors import GraderError, UsageError
from grader.cli.commands import Commands
from grader.cli.output import err, out, show_error
from grader.cli.terminal import prepare_streams
from grader.version import __version__

app = typer.Typer(
    name="grader",
    cls=Commands,
    help="From a photo of scrap circuit boards: plated area, gold with an honest range, and the most to pay.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        out.print(f"grader {__version__}", markup=False)
        raise typer.Exit


@app.callback()
def _of_all(
    version: Annotated[
        bool, typer.Option("--version", "-V", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    pass


_STOPPED = 130


def main() -> None:
    """Run the command line; exit 0 done, 1 a defect, 2 wrong use, 3 refused, 130 interrupted."""
    prepare_streams()
    sys.exit(_run())


def _run() -> int:
    try:
        _check_language()
        code = app(standalone_mode=False)
        sys.stdout.flush()
    except GraderError as error:
        return _told(error)
    except KeyboardInterrupt:
        return _STOPPED
    except BrokenPipeError:  # whoever read the output has seen enough
        _drop_output()
        return 1
    except typer.Abort:
        err.print("Stopped.")
        return 1
    except Exception as error:
        from grader.cli.faults import fault_of

        wrong = _wrong_use(error)
        return _told(fault_of(error) if wrong is None else wrong)
    return code if isinstance(code, int) else 0


def _check_language() -> None:
    known = languages("grader.cli")
    if language() not in ("", *known):
        only = f" or set it to one of: {', '.join(known)}" if known else ""
        raise UsageError(
            "language-unknown",
            f"There is no advice in the language '{language()}'.",
            f"Unset {LANGUAGE_VARIABLE}{only}.",
        )


def _told(error: GraderError) -> int:
    if error.message:
        show_error(error)
    try:
        sys.stdout.flush()
    except OSError:
        _drop_output()
    return error.exit_code


def _drop_output() -> None:
    """Discard output that could not be written, so that the interpreter does not retry it with a traceback."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def _wrong_use(error: Exception) -> UsageError | None:
    """An error of the option parser as one of ours; None for any other. Its message is empty if help was shown."""
    say = getattr(error, "format_message", None)
    if say is None or not hasattr(error, "exit_code"):
        return None
    kind = type(error).__name__
    if kind == "NoArgsIsHelpError":
        return UsageError("help-shown", "", "")
    message = str(say()).strip()
    if not message.endswith((".", "?", ")")):
        message += "."
    what = {
        "MissingParameter": "Add it",
        "NoSuchOption": "Leave it out or correct it",
        "BadOptionUsage": "Give it a value",
    }.get(kind, "Correct it")
    advice = f"{what}. To see what can be given, run: {_command_path(sys.argv[1:])} --help"
    return UsageError("command-line-wrong", message, advice)


def _command_path(words: Sequence[str]) -> str:
    """The command called by these words; not every parser error names it."""
    path: list[str] = ["grader"]
    here: object = typer.main.get_command(app)
    for word in words:
        here = getattr(here, "commands", {}).get(word)
        if here is None:
            break
        path.append(word)
    return " ".join(path)
