"""Learned properties from the log's yields, for commands that measure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calibration.errors import LogError
from grader.cli.output import out, show_error
from grader.places import has_log, log_path

if TYPE_CHECKING:
    from grader.learn import Newest


def learned_from(path: str | None) -> Newest | None:
    """What the log's yields teach. A missing or damaged default log does not stop a measurement."""
    usual = log_path()
    if path is None and not has_log(usual):
        return None
    from grader.learn.newest import newest_at

    try:
        return newest_at(path)
    except LogError as error:
        if path is not None:
            raise
        if error.code != "log-missing":
            show_error(error, "published thickness is used")
        return None


def say_learned(learned: Newest | None, part: str, seller: str) -> None:
    """Report what the figures are based on, if yields taught something."""
    if learned is not None:
        from grader.learn.tables import belief_sentences

        for sentence in belief_sentences(learned):
            out.print(sentence, markup=False)
        for name in learned.never_weighed(part, seller):
            out.print(f"No yield of {name} yet: the range is that of any other.", markup=False)
        out.print("Gold is what your process recovers of it. With --published: published thickness, gold present.")
