"""The command tree and the one place where errors become exit codes."""

from __future__ import annotations

import sys

import typer

from calibration.errors import GraderError
from grader.cli import log_learn as _more_of_log  # noqa: F401 - adds its commands to log_app
from grader.cli.batch import batch
from grader.cli.cut import cut
from grader.cli.demo import demo
from grader.cli.grade import grade
from grader.cli.log import log_app
from grader.cli.log_batch import batch_app
from grader.cli.measure import measure_command
from grader.cli.output import show_error
from grader.cli.page import page
from grader.cli.report import report
from grader.cli.simulate import simulate_command
from grader.cli.target import target
from grader.cli.value import value

app = typer.Typer(
    name="grader",
    help="From a photo of scrap circuit boards: plated area, gold with an honest range, and the most to pay.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)

app.command("demo")(demo)
app.command("target")(target)
app.command("measure")(measure_command)
app.command("value")(value)
app.command("report")(report)
app.command("grade")(grade)
app.command("cut")(cut)
app.command("batch")(batch)
app.command("simulate")(simulate_command)
log_app.add_typer(batch_app)
app.add_typer(log_app)
app.command("page")(page)


def main() -> None:
    """Run the command line; exit 0 done, 2 wrong use, 3 refused, 130 interrupted."""
    try:
        app()
    except GraderError as error:
        show_error(error)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        sys.exit(130)
