"""Photographs from clones and our masks of them become a folder of training pictures."""

from __future__ import annotations

import hashlib
import json
import subprocess
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from grader.coverage.training.evaluate import read_truth
from grader.coverage.training.gather import clone_of, gather, main, read_labels

OURS = Path(__file__).parents[4] / "calibration" / "training_labels"
REPO = "someone/boards"


def git(at: Path, *words: str) -> str:
    who = ["-c", "user.name=n", "-c", "user.email=e", "-c", "commit.gpgsign=false"]
    return subprocess.run(
        ["git", "-C", str(at), *who, *words], capture_output=True, check=True, text=True
    ).stdout.strip()


def picture(level: int) -> bytes:
    image = np.full((60, 80, 3), level, np.uint8)
    image[:20, :40] = (20, 180, 230)
    return bytes(cv2.imencode(".jpg", image)[1])


@pytest.fixture
def clones(tmp_path: Path) -> Path:
    """A repository with two photographs, of which one was changed later."""
    at = tmp_path / "clones" / REPO
    at.mkdir(parents=True)
    git(at, "init", "-q")
    for name, level in (("card.jpg", 60), ("bare.jpg", 90)):
        (at / name).write_bytes(picture(level))
    git(at, "add", ".")
    git(at, "commit", "-qm", "photographs")
    return tmp_path / "clones"


def labels(tmp_path: Path, clones: Path, **changes: Any) -> Path:
    """Labels of the card, at half its size, and of the bare board."""
    made = tmp_path / "labels"
    (made / "masks").mkdir(parents=True, exist_ok=True)
    commit = git(clones / REPO, "rev-parse", "HEAD")
    card: dict[str, Any] = {
        "kind": "edge", "repo": REPO, "commit": commit, "path": "card.jpg", "width_px": 40, "height_px": 30,
        "sha256": hashlib.sha256(picture(60)).hexdigest(), "px_per_mm": 4.5,
    }  # fmt: skip
    bare = card | {
        "kind": "none", "path": "bare.jpg", "width_px": 80, "height_px": 60, "px_per_mm": None,
        "sha256": hashlib.sha256(picture(90)).hexdigest(), "boards": [[[0, 0], [39, 0], [39, 59], [0, 59]]],
    }  # fmt: skip
    (made / "photographs.json").write_text(json.dumps({"card": card | changes, "bare": bare}), "utf-8")
    gold = np.zeros((30, 40), np.uint8)
    gold[:10, :20] = 255
    cv2.imwrite(str(made / "masks" / "card_gold.png"), gold)
    return made


def test_a_clone_and_labels_make_a_training_folder(tmp_path: Path, clones: Path) -> None:
    gathered = gather(clones, labels(tmp_path, clones), tmp_path / "out")
    assert gathered.names == ("bare", "card")
    assert not gathered.missing
    truth = read_truth(tmp_path / "out", "card")
    assert (truth.kind, truth.px_per_mm) == ("edge", 4.5)
    image = cv2.imread(str(truth.image))
    assert image.shape[:2] == truth.gold.shape == (30, 40)
    # the mask lies on what was drawn
    assert image[truth.gold > 0].mean(0) == pytest.approx([20, 180, 230], abs=12)
    bare = read_truth(tmp_path / "out", "bare")
    assert bare.kind == "none"
    assert not bare.gold.any()
    board = cv2.imread(str(tmp_path / "out" / "masks" / "bare_board.png"), cv2.IMREAD_GRAYSCALE)
    assert (board[:, :40] == 1).all()
    assert not board[:, 40:].any()
    assert not (tmp_path / "out" / "masks" / "card_board.png").exists()
    assert json.loads((tmp_path / "out" / "meta.json").read_text("utf-8")) == {
        "bare": {"repo": REPO},
        "card": {"repo": REPO},
    }


def test_a_photograph_that_changed_since_comes_from_its_commit(tmp_path: Path, clones: Path) -> None:
    ours = labels(tmp_path, clones)
    (clones / REPO / "card.jpg").write_bytes(picture(200))
    git(clones / REPO, "commit", "-qam", "another photograph")
    assert gather(clones, ours, tmp_path / "out").names == ("bare", "card")


def test_a_clone_without_the_commit_serves_if_its_file_is_the_same(tmp_path: Path, clones: Path) -> None:
    ours = labels(tmp_path, clones, commit="0" * 40)
    assert "card" in gather(clones, ours, tmp_path / "out").names


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"sha256": "0" * 64}, "another file"),
        ({"path": "gone.jpg"}, "holds no gone.jpg"),
        ({"repo": "someone/else"}, "no clone of someone/else"),
    ],
)
def test_what_cannot_be_had_is_named_and_left_out(
    tmp_path: Path, clones: Path, changes: dict[str, str], says: str
) -> None:
    gathered = gather(clones, labels(tmp_path, clones, **changes), tmp_path / "out")
    assert gathered.names == ("bare",)
    assert [m.name for m in gathered.missing] == ["card"]
    assert says in gathered.missing[0].reason
    assert not list((tmp_path / "out").rglob("card*"))


def test_more_clones_later_add_to_the_folder(tmp_path: Path, clones: Path) -> None:
    ours = labels(tmp_path, clones)
    assert not gather(tmp_path / "nothing", ours, tmp_path / "out").names
    gather(clones, ours, tmp_path / "out")
    gather(tmp_path / "nothing", ours, tmp_path / "out")
    assert set(json.loads((tmp_path / "out" / "meta.json").read_text("utf-8"))) == {"bare", "card"}


def test_the_command_says_what_is_missing(
    tmp_path: Path, clones: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ours = labels(tmp_path, clones, sha256="0" * 64)
    monkeypatch.setattr("sys.argv", ["gather", str(clones), str(ours), str(tmp_path / "out")])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 1
    assert "missing: card: " in capsys.readouterr().out


def test_a_clone_lies_under_its_owner_or_by_itself(tmp_path: Path) -> None:
    assert clone_of(REPO, tmp_path) is None
    (tmp_path / "boards.git").mkdir()
    (tmp_path / "boards.git" / "HEAD").touch()
    assert clone_of(REPO, tmp_path) == tmp_path / "boards.git"
    (tmp_path / REPO / ".git").mkdir(parents=True)
    assert clone_of(REPO, tmp_path) == tmp_path / REPO


def test_our_labels_fit_their_photographs() -> None:
    ours = read_labels(OURS)
    assert len(ours) >= 78
    named = {one.name for one in ours}
    for one in ours:
        assert len(one.sha256) == 64, one.name
        assert len(one.commit) == 40, one.name
        gold, known = (OURS / "masks" / f"{one.name}_{what}.png" for what in ("gold", "known"))
        assert gold.exists() == (one.kind != "none"), one.name
        for mask in filter(Path.exists, (gold, known)):
            drawn = cv2.imread(str(mask), cv2.IMREAD_GRAYSCALE)
            assert drawn.shape[::-1] == one.size_px, mask
            assert drawn.any(), mask
        if gold.exists():
            known_px = cv2.imread(str(known), cv2.IMREAD_GRAYSCALE) if known.exists() else None
            plated = cv2.imread(str(gold), cv2.IMREAD_GRAYSCALE) > 0
            assert known_px is None or (plated & (known_px > 0)).any(), one.name
    masks = {path.name.rsplit("_", 1)[0] for path in (OURS / "masks").iterdir()}
    assert masks <= named
    assert {path.suffix for path in OURS.rglob("*") if path.is_file()} <= {".json", ".png", ".md"}
    taken = sum(path.stat().st_size for path in OURS.rglob("*") if path.is_file())
    assert taken < 10_000 * len(ours)  # bytes: masks are small, photographs would not be
