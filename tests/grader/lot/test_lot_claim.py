"""What is typed of a lot: the same from a file as from fields, and refused where it does not hold together."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from calibration.distributions import Distribution
from calibration.errors import DataFileError, UsageError
from grader.lot import PartText, SightText, lot_of, one_part, read_claim
from grader.measured import Measured
from grader.model import EMPTY
from tests.measured_photos import outlined, photo_with

FILE = """
# three parts
[[part]]
name = "modules"
count = 30
other_face = "alike"
[[part.photo]]
front = "a.jpg"
boards = 4
[[part]]
name = "cards"
count = "8..10"
[[part.photo]]
front = "b.jpg"
back = "c.jpg"
weighed = "90 g"
[[part]]
name = "strips"
mass = "4.5..5 kg"
[[part.photo]]
front = "dddd"
"""


def photos(*names: str) -> list[Measured]:
    return [photo_with(f"{n}.jpg", EMPTY, sha256=n * 4) for n in names]


def written(folder: Path, text: str) -> Path:
    path = folder / "lot.toml"
    path.write_text(text, "utf-8")
    return path


def test_a_file_of_three_parts(tmp_path: Path) -> None:
    modules, cards, strips = lot_of(read_claim(written(tmp_path, FILE)), photos("a", "b", "c", "d")).parts
    assert modules.count == Distribution("constant", (30.0,))
    assert (modules.other_face, modules.boards_seen, modules.sights[0].front.photo) == ("alike", 4, "a.jpg")
    assert cards.count == Distribution("uniform", (8.0, 10.0))
    assert cards.other_face == "left_out"
    assert cards.sights[0].back is not None
    assert cards.sights[0].weighed_g == 90.0
    assert strips.mass_g == Distribution("uniform", (4500.0, 5000.0))
    assert strips.sights[0].front.sha256 == "dddd"


def test_the_file_in_the_guide_is_one(tmp_path: Path) -> None:
    guide = (Path(__file__).parents[3] / "docs" / "buying.md").read_text("utf-8")
    block = re.search(r"```toml\n(.*?)```", guide, re.DOTALL)
    assert block is not None
    shown = [photo_with(name, EMPTY, sha256=name) for name in ("modules.jpg", "modules-back.jpg", "card.jpg")]
    modules, cards = lot_of(read_claim(written(tmp_path, block.group(1))), shown).parts
    assert modules.mass_g == Distribution("uniform", (4500.0, 5000.0))
    assert cards.other_face == "alike"


def test_one_part_of_all_photos() -> None:
    (part,) = one_part(photos("a", "b"), boards=[3], count="30", other_face="left out").parts
    assert [s.boards for s in part.sights] == [3, 3]
    assert part.boards_seen == 6
    (part,) = one_part(photos("a", "b"), boards=[3, 4], mass="2 lb", weighed=["60 g", "80 g"]).parts
    assert [s.weighed_g for s in part.sights] == [60.0, 80.0]
    assert part.mass_g == Distribution("constant", (907.18474,))
    assert one_part(photos("a")).parts[0].count is None


@pytest.mark.parametrize(("outlines", "boards"), [(0, 1), (1, 1), (4, 4)])
def test_boards_that_nobody_counted_are_as_many_as_their_outlines(tmp_path: Path, outlines: int, boards: int) -> None:
    photo = photo_with("a.jpg", EMPTY, boards=(outlined(4000.0, 3.0),) * outlines)
    file = written(tmp_path, '[[part]]\n[[part.photo]]\nfront = "a.jpg"\n')
    for lot in (one_part([photo], count="400"), lot_of(read_claim(file), [photo])):
        assert lot.parts[0].boards_seen == boards
    assert one_part([photo], boards=[2], count="400").parts[0].boards_seen == 2


@pytest.mark.parametrize(
    ("claim", "code"),
    [
        ({"count": "2"}, "count-below-seen"),
        ({"count": "thirty"}, "count-unreadable"),
        ({"count": "9" * 400}, "count-unreadable"),
        ({"count": "9" * 40}, "distribution-invalid"),
        ({"count": "-30"}, "count-below-seen"),
        ({"count": "40..30"}, "estimate-order"),
        ({"mass": "5"}, "unit-missing"),
        ({"mass": "-5 kg"}, "value-negative"),
        ({"mass": "5 mm"}, "unit-wrong-kind"),
        ({"count": "30", "mass": "5 kg"}, "part-two-sizes"),
        ({"other_face": "perhaps"}, "other-face-unknown"),
        ({"weighed": ["80"]}, "boards-per-photo"),
        ({"weighed": ["80", "80 g"]}, "unit-missing"),
        ({"boards": [1, 2, 3]}, "boards-per-photo"),
        ({"boards": [0]}, "boards-invalid"),
    ],
)
def test_claims_refused(claim: dict[str, Any], code: str) -> None:
    with pytest.raises(UsageError) as caught:
        one_part(photos("a", "b"), **{"boards": [2], **claim})
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("parts", "code", "word"),
    [
        ([PartText("m", (SightText("a.jpg"),))], "photo-without-part", "b.jpg"),
        ([PartText("m", (SightText("a.jpg"), SightText("x.jpg")))], "photo-unknown", "x.jpg"),
        ([PartText("m", (SightText("a.jpg", "a.jpg"), SightText("b.jpg")))], "photo-twice", "a.jpg"),
        ([PartText("m", (SightText("a.jpg"),)), PartText("m", (SightText("b.jpg"),))], "part-twice", "m"),
    ],
)
def test_photos_and_parts_must_match(parts: list[PartText], code: str, word: str) -> None:
    with pytest.raises(UsageError) as caught:
        lot_of(parts, photos("a", "b"))
    assert caught.value.code == code
    assert word in caught.value.message


def test_two_photos_of_one_name_need_their_sha256() -> None:
    twins = [photo_with("a.jpg", EMPTY, sha256=sha) for sha in ("11", "22")]
    with pytest.raises(UsageError) as caught:
        lot_of([PartText("m", (SightText("a.jpg"),))], twins)
    assert caught.value.code == "photo-name-twice"
    assert len(lot_of([PartText("m", (SightText("11"), SightText("22")))], twins).parts[0].sights) == 2


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("[[part]]", "[part]", "lot.toml"),
        ("boards = 4", 'boards = "4"', "boards"),
        ("boards = 4", "board = 4", "board"),
        ('name = "modules"', "name = 3", "name"),
        ('mass = "4.5..5 kg"', "mass = 5", "mass"),
        ("count = 30", "count = true", "count"),
        ('[[part.photo]]\nfront = "dddd"', "", "part.photo"),
    ],
)
def test_files_that_do_not_say_what_they_must(tmp_path: Path, old: str, new: str, word: str) -> None:
    with pytest.raises(DataFileError) as caught:
        read_claim(written(tmp_path, FILE.replace(old, new)))
    assert caught.value.code == "parts-invalid"
    assert word in caught.value.message
    with pytest.raises(DataFileError) as caught:
        read_claim(tmp_path / "gone.toml")
    assert caught.value.code == "parts-unreadable"
