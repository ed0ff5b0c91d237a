"""Whose figures are whose: this machine's, and those of each browser that came by the network."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

import app.lots.desk
from app.lots.desk import own_entries
from app.server.gate import WHO_COOKIE


def sitting(monkeypatch: pytest.MonkeyPatch, address: str | None, who: str | None) -> None:
    """Whoever has the page open now."""
    cookies = {} if who is None else {WHO_COOKIE: who}
    context = SimpleNamespace(ip_address=address, cookies=cookies)
    monkeypatch.setattr(app.lots.desk.st, "context", context)


def test_what_one_browser_enters_is_no_other_ones_default(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("grader.places.data_folder", lambda: tmp_path)
    people = [(None, None), ("192.168.1.20", "token-a"), ("192.168.1.20", "token-b")]
    for number, (address, who) in enumerate(people):
        sitting(monkeypatch, address, who)
        assert own_entries().entries() == {}
        own_entries().enter({"spot": f"{2650 + number} USD/ozt"})
    for number, (address, who) in enumerate(people):
        sitting(monkeypatch, address, who)
        assert own_entries().entries() == {"spot": f"{2650 + number} USD/ozt"}
    assert not any("token" in path.name for path in tmp_path.iterdir()), "what tells a browser is not written down"


def test_a_name_shown_by_this_machine_itself_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("grader.places.data_folder", lambda: tmp_path)
    sitting(monkeypatch, None, None)
    own_entries().enter({"payable": "93 %"})
    sitting(monkeypatch, None, "token-a")
    assert own_entries().entries() == {"payable": "93 %"}
