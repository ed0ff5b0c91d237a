"""Training on partial truth: what is not known teaches nothing, and a new look moves no truth. Needs PyTorch."""

from __future__ import annotations

import copy
import dataclasses
from pathlib import Path

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="PyTorch is for training only, not installed with the tests")

from grader.coverage.training.augment import augment, effects  # noqa: E402
from grader.coverage.training.classes import FINGER, NEITHER, PAD, UNKNOWN  # noqa: E402
from grader.coverage.training.dataset import CropBatch, crops, read_frame  # noqa: E402
from grader.coverage.training.draw import Draw  # noqa: E402
from grader.coverage.training.loss import about_narrow_gaps, distance_to, loss  # noqa: E402
from grader.coverage.training.model import CoverageNet, fold  # noqa: E402
from grader.coverage.training.pools import Pictures, as_read, sample  # noqa: E402

CPU = torch.device("cpu")
SIZE = 64


def folder_with(tmp_path: Path, name: str, **masks: np.ndarray | str) -> Path:
    """A folder with one grey picture of 96 × 80 px and the masks (arrays) and words given."""
    for part in ("images", "masks"):
        (tmp_path / part).mkdir(exist_ok=True)
    picture = np.full((80, 96, 3), 120, np.uint8)
    cv2.imwrite(str(tmp_path / "images" / f"{name}.jpg"), picture)
    for what, value in masks.items():
        if isinstance(value, str):
            (tmp_path / "masks" / f"{name}_{what}.txt").write_text(value, "utf-8")
        else:
            cv2.imwrite(str(tmp_path / "masks" / f"{name}_{what}.png"), value)
    return tmp_path


def block(value: int = 255) -> np.ndarray:
    mask = np.zeros((80, 96), np.uint8)
    mask[20:60, 30:60] = value
    return mask


def batch_of(**changes: object) -> CropBatch:
    rgb = torch.full((1, 3, SIZE, SIZE), 0.5)
    gold = torch.zeros(1, 1, SIZE, SIZE)
    gold[..., 16:48, 16:48] = 1
    one = torch.ones_like(gold)
    classes = torch.full((1, SIZE, SIZE), UNKNOWN)
    batch = CropBatch(rgb, gold, one, one, classes, torch.ones(1, 1, 1, 1))
    return dataclasses.replace(batch, **changes)  # type: ignore[arg-type]


def test_photograph_without_gold_mask_is_bare(tmp_path: Path) -> None:
    frame = read_frame(folder_with(tmp_path, "wall", kind="none"), "wall", CPU)
    assert frame.kind == "none"
    assert int(frame.levels[0][3].max()) == 0
    assert len(frame.plated) == 0


def test_render_without_gold_mask_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="0001_gold"):
        read_frame(folder_with(tmp_path, "0001"), "0001", CPU)


@pytest.mark.parametrize(("kind", "number"), [("edge", FINGER), ("pads", PAD), ("mixed", UNKNOWN)])
def test_kind_names_the_class_of_gold(tmp_path: Path, kind: str, number: int) -> None:
    known = np.full((80, 96), 255, np.uint8)
    known[:, :40] = 0
    frame = read_frame(folder_with(tmp_path, "card", kind=kind, gold=block(), known=known), "card", CPU)
    batch = crops([frame] * 20, np.random.default_rng(0), SIZE)
    plated = batch.gold[:, 0] > 0.99
    assert set(batch.classes[plated].unique().tolist()) <= {number, NEITHER}
    assert (batch.classes[plated] == number).any()
    assert (batch.classes == NEITHER).any()
    assert float(batch.board_known.max()) == 0  # nobody drew the board


def test_board_mask_is_read(tmp_path: Path) -> None:
    frame = read_frame(folder_with(tmp_path, "card", kind="pads", gold=block(), board=block(1)), "card", CPU)
    batch = crops([frame] * 20, np.random.default_rng(0), SIZE)
    assert float(batch.board_known.min()) == 1
    assert 0 < float(batch.board.mean()) < 1


def test_what_is_not_known_teaches_nothing() -> None:
    outputs = torch.zeros(1, 6, SIZE // 2, SIZE // 2, requires_grad=True)
    batch = batch_of(classes=torch.full((1, SIZE, SIZE), NEITHER), board_known=torch.zeros(1, 1, SIZE, SIZE))
    loss(outputs, batch).backward()
    assert float(outputs.grad.abs().max()) == 0


def test_what_is_known_teaches_there_only() -> None:
    outputs = torch.zeros(1, 6, SIZE // 2, SIZE // 2, requires_grad=True)
    classes = torch.full((1, SIZE, SIZE), UNKNOWN)
    classes[:, :, : SIZE // 2] = NEITHER
    loss(outputs, batch_of(classes=classes)).backward()
    taught = outputs.grad[0, :4].abs().amax(0) > 0
    assert not taught[:, : SIZE // 4].any()
    assert taught[:, SIZE // 4 :].all()
    assert float(outputs.grad[0, 4].abs().max()) == 0  # kind: no class numbers


def test_loss_is_least_at_the_truth() -> None:
    truth = torch.full((1, 6, SIZE // 2, SIZE // 2), -12.0)
    truth[:, :4, 8:24, 8:24] = 12.0
    truth[:, 5] = 12.0
    best = loss(truth, batch_of())
    rng = torch.Generator().manual_seed(2)
    for _ in range(5):
        other = truth + 8 * torch.randn(truth.shape, generator=rng)
        assert loss(other, batch_of()) > best


def test_teacher_is_followed_where_it_is_right_and_familiar() -> None:
    teacher = torch.full((1, 6, SIZE // 2, SIZE // 2), -12.0)  # misses the plating
    mine = torch.zeros_like(teacher).requires_grad_()
    distance_to(teacher, mine, batch_of()).backward()
    pulled = mine.grad[0, :4].abs().amax(0) > 0
    assert not pulled[8:24, 8:24].any()
    assert pulled[:8].all()
    with torch.no_grad():
        assert float(distance_to(teacher, mine, batch_of(familiar=torch.zeros(1, 1, 1, 1)))) == 0
        assert float(distance_to(mine, mine, batch_of())) == pytest.approx(0, abs=1e-6)


def test_narrow_gaps_count_more_together_with_what_lies_beside_them() -> None:
    gold = torch.zeros(1, 1, 64, 96)
    for left in (8, 20, 32, 60):  # gaps of 4 px, 4 px and 20 px
        gold[..., 16:40, left : left + 8] = 1
    about = about_narrow_gaps(gold)[0, 0].bool()
    assert about[20:36, 14:36].all()  # both narrow gaps, and gold on both sides
    assert not about[:, 46:].any()  # the wide gap and the contact behind it
    assert not about_narrow_gaps(torch.ones(1, 1, 64, 64)).any()


def test_normalisation_folded_into_convolutions_changes_nothing() -> None:
    torch.manual_seed(3)
    apart = CoverageNet().eval()
    for part in apart.modules():
        if isinstance(part, torch.nn.BatchNorm2d):
            part.running_mean.normal_(0, 0.1)
            part.running_var.uniform_(0.5, 2)
            torch.nn.init.uniform_(part.weight, 0.5, 2)
    within = copy.deepcopy(apart).train()
    fold(within)
    image = torch.randn(2, 3, 64, 96)
    for model in (apart, within):
        model(image).square().mean().backward()
    assert torch.allclose(apart(image), within(image), atol=1e-5)
    for one, other in zip(apart.parameters(), within.parameters(), strict=True):
        assert torch.allclose(one.grad, other.grad, rtol=1e-3, atol=1e-5 * float(one.grad.abs().max()) + 1e-9)


def test_compiled_effects_may_not_run_out_of_random_numbers() -> None:
    numbers = Draw.tapes(16, 64, torch.Generator().manual_seed(1))
    short = (numbers[0][:, :100], *numbers[1:])
    batch = CropBatch(*[torch.cat([getattr(batch_of(), f.name)] * 16) for f in dataclasses.fields(CropBatch)])
    effects(batch, *numbers)
    with pytest.raises(RuntimeError):
        effects(batch, *short)


def test_augmentation_follows_from_its_generator_and_keeps_truth_in_place() -> None:
    batch = CropBatch(*[torch.cat([getattr(batch_of(), f.name)] * 16) for f in dataclasses.fields(CropBatch)])
    one, again = (augment(batch, torch.Generator().manual_seed(5)) for _ in range(2))
    assert torch.equal(one.rgb, again.rgb)
    assert float(one.rgb.min()) >= 0
    assert float(one.rgb.max()) <= 1
    left = one.gold.flatten(1).amax(1) > 0  # crops whose plating was not turned into something else
    assert torch.equal(one.gold[left], batch.gold[left])
    assert 8 <= int(left.sum()) <= 16
    assert torch.isfinite(one.rgb).all()
    assert set(one.familiar.flatten().tolist()) == {0.0, 1.0}


def test_shares_say_how_often_a_kind_is_drawn(tmp_path: Path) -> None:
    bare = read_frame(folder_with(tmp_path, "wall", kind="none"), "wall", CPU)
    card = read_frame(folder_with(tmp_path, "0001", gold=block()), "0001", CPU)
    pools = {"renders": [card], "other renders": [], "edge": [], "pads": [], "none": [bare]}
    batch = sample(pools, (0.75, 0.5, 0.5, 0.5, 0.25), np.random.default_rng(1), 400, 32)
    assert float(batch.familiar.mean()) == pytest.approx(0.75, abs=0.1)


def test_other_renders_are_drawn_apart_and_hold_to_no_teacher(tmp_path: Path) -> None:
    for part in ("like", "unlike"):
        (tmp_path / part).mkdir()
    like = folder_with(tmp_path / "like", "0001", gold=block())
    unlike = folder_with(tmp_path / "unlike", "0002", gold=block())
    pictures = Pictures([like], CPU, 9, [unlike])
    pictures.read()
    pictures.read()  # nothing is new
    assert {name: len(frames) for name, frames in pictures.pools.items() if frames} == {
        "renders": 1,
        "other renders": 1,
    }
    batch = sample(pictures.pools, (0.75, 0.25, 0, 0, 0), np.random.default_rng(1), 400, 32)
    assert float(batch.familiar.mean()) == pytest.approx(0.75, abs=0.1)


def test_whole_picture_is_read_at_the_scale_of_the_segmenter(tmp_path: Path) -> None:
    frame = read_frame(folder_with(tmp_path, "card", kind="edge", gold=block(), scale="15"), "card", CPU)
    rgb, gold, counts = as_read(frame)
    assert rgb.shape[2:] == gold.shape == counts.shape
    assert gold.shape == (256, 256)
    height, width = (int(counts.any(axis).sum()) for axis in (1, 0))
    assert (height, width) == (40, 48)


def test_network_takes_any_size_of_the_stride() -> None:
    outputs = CoverageNet()(torch.zeros(1, 3, 64, 96))
    assert outputs.shape == (1, 6, 32, 48)
