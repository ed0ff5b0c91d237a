"""``grader log`` with all that belongs to it: importing this loads every command of the log."""

from __future__ import annotations

from grader.cli import log_learn as _more_of_log  # noqa: F401 - adds its commands to log_app
from grader.cli import log_lots as _lots_of_log  # noqa: F401 - likewise
from grader.cli import log_money as _money_of_log  # noqa: F401 - likewise
from grader.cli import log_pot as _pot_of_log  # noqa: F401 - likewise
from grader.cli.log import log_app
from grader.cli.log_batch import batch_app

log_app.add_typer(batch_app)

__all__ = ["log_app"]
