"""Where this program keeps its files unless the user says otherwise."""

from __future__ import annotations

from pathlib import Path

import platformdirs


def data_folder() -> Path:
    """The user's data folder of this platform; it need not exist yet."""
    return platformdirs.user_data_path("board-gold-grader", appauthor=False)


def log_path() -> Path:
    """The usual log."""
    return data_folder() / "log.sqlite"


def has_log(path: Path) -> bool:
    """Whether a log, or what an interrupted writer left of one, lies at a place."""
    return path.is_file() or any(path.parent.glob(f"{path.name}.*"))


def beliefs_folder() -> Path:
    """The folder of what was learned lately, so that it need not be learned again; it may be deleted any time."""
    return platformdirs.user_cache_path("board-gold-grader", appauthor=False) / "beliefs"


def assumptions_folder() -> Path:
    """The folder of the user's named sets of assumptions."""
    return data_folder() / "assumptions"


def process_folder() -> Path:
    """The folder of the user's named sets of process figures."""
    return data_folder() / "processes"


def own_money_path() -> Path:
    """The file that keeps the user's currency and rates of exchange."""
    return data_folder() / "money.json"


def faults_folder() -> Path:
    """The folder of details of errors that nobody foresaw; it need not exist yet."""
    return platformdirs.user_log_path("board-gold-grader", appauthor=False)


def print_check_path() -> Path:
    """The file that keeps the printed target's measured check bar."""
    return data_folder() / "print-check.json"
