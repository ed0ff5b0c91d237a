"""The learned segmenter: its weights run in parts, and its answer does not hang on how the photo is turned."""

import json
import subprocess
import sys
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import onnxruntime
import pytest

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.coverage import network
from grader.coverage.learned import LearnedSegmenter
from grader.coverage.network import Maps, Network
from grader.coverage.way_round import WayRound
from grader.photo import Photo, load_photo

SAMPLES = Path(__file__).parents[3] / "sample_images"
# The network is trained on pictures turned and mirrored at will, but it is no exact symmetry of it.
TURN_TOLERANCE = 0.05


def cutting(name: str, y: int, x: int) -> tuple[np.ndarray, np.ndarray, float]:
    """500 × 700 px of a sample photo, its true coverage (0..1), and px per mm."""
    truth = json.loads((SAMPLES / "truth.json").read_text("utf-8"))[name]
    place = (slice(y, y + 500), slice(x, x + 700))
    gold = cv2.imread(str(SAMPLES / truth["gold_mask"]), cv2.IMREAD_GRAYSCALE)
    return load_photo(SAMPLES / truth["image"]).rgb[place].copy(), gold[place] / 255, truth["px_per_mm"]


def parts() -> list[bytes]:
    folder = resources.files("grader.coverage").joinpath("weights")
    return [folder.joinpath(f"{part}.onnx").read_bytes() for part in network.PARTS]


def share(rgb: np.ndarray, px_per_mm: float | None, **known: object) -> np.ndarray:
    scale = Scale("length", UniformPlane(px_per_mm), px_per_mm, (), **known) if px_per_mm else None  # type: ignore[arg-type]
    photo = Photo("cutting.png", "ef" * 32, np.ascontiguousarray(rgb), "PNG")
    return LearnedSegmenter().segment(photo, scale).share / 255


@pytest.fixture(scope="module")
def strips() -> tuple[np.ndarray, np.ndarray, float]:
    return cutting("strip-boards", 13, 1017)


@pytest.mark.parametrize("shape", [(64, 64), (47, 81), (16, 200)])
def test_maps_have_the_size_of_the_picture(shape: tuple[int, int]) -> None:
    maps = Network().run(np.full((*shape, 3), 90, np.uint8))
    assert maps.share.shape == shape
    assert maps.contact.shape == maps.board.shape == ((shape[0] + 1) // 2, (shape[1] + 1) // 2)
    assert maps.share.dtype == maps.contact.dtype == maps.board.dtype == np.uint8


def test_shares_lie_where_the_plating_lies(strips: tuple[np.ndarray, np.ndarray, float]) -> None:
    """Not a pixel off: sub-pixels of the network's half-size output are put back in the right order."""
    rgb, gold, px_per_mm = strips
    found = share(rgb, px_per_mm)
    here = float((found * gold).sum())
    for dy, dx in ((2, 0), (-2, 0), (0, 2), (0, -2)):
        assert here > float((np.roll(found, (dy, dx), (0, 1)) * gold).sum())


@pytest.mark.parametrize("turn", ["rot90", "rot180", "mirror"])
def test_turning_the_photo_keeps_the_area(strips: tuple[np.ndarray, np.ndarray, float], turn: str) -> None:
    rgb, _, px_per_mm = strips
    turned = {"rot90": np.rot90(rgb), "rot180": np.rot90(rgb, 2), "mirror": rgb[:, ::-1]}[turn]
    assert share(turned, px_per_mm).sum() == pytest.approx(share(rgb, px_per_mm).sum(), rel=TURN_TOLERANCE)


def test_a_board_lying_on_the_target_still_counts(strips: tuple[np.ndarray, np.ndarray, float]) -> None:
    rgb, _, px_per_mm = strips
    sheet = np.array([[0.0, 0.0], [699.0, 0.0], [699.0, 499.0], [0.0, 499.0]])
    assert np.array_equal(share(rgb, px_per_mm, target_px=(sheet,)), share(rgb, px_per_mm))


@pytest.mark.parametrize("known", [True, False])
def test_nothing_is_found_on_a_board_without_gold(known: bool) -> None:
    rgb, _, px_per_mm = cutting("no-gold", 350, 650)
    assert share(rgb, px_per_mm if known else None).mean() < 1e-3


def test_without_a_scale_the_network_looks_at_two_sizes(
    monkeypatch: pytest.MonkeyPatch, strips: tuple[np.ndarray, np.ndarray, float]
) -> None:
    """The whole once, what it saw once more and smaller; what the first saw nearly nothing of is none."""
    rgb, gold, _ = strips
    looks: list[np.ndarray] = []
    run = Network.run

    def counted(self: Network, picture: np.ndarray) -> Maps:
        maps = run(self, picture)
        looks.append(maps.share / 255)
        return maps

    monkeypatch.setattr(Network, "run", counted)
    monkeypatch.setattr("grader.coverage.learned.way_round", lambda _: WayRound())
    # what was seen, alone
    monkeypatch.setattr("grader.coverage.learned.strengthened", lambda _, looked, __: looked)
    monkeypatch.setattr("grader.coverage.learned.draw_folded_rows", lambda _, __, looked, ___, **____: looked)
    found = share(rgb, None)
    seen, *smaller = looks
    assert seen.shape == found.shape
    assert 0 < sum(look.size for look in smaller) < seen.size
    at = found > 0.5
    assert at.any()
    assert (found - seen)[at].min() > -0.01
    far = cv2.distanceTransform((seen < 0.03).astype(np.uint8), cv2.DIST_C, 3) > 48
    assert far.any()
    assert not found[far].any()
    assert seen[far].any()
    assert found.sum() == pytest.approx(gold.sum(), rel=0.3)


class Blind(Network):
    """A network that sees nothing."""

    def run(self, rgb: np.ndarray) -> Maps:
        height, width = rgb.shape[:2]
        half = np.zeros(((height + 1) // 2, (width + 1) // 2), np.uint8)
        return Maps(np.zeros((height, width), np.uint8), half, half)


def test_without_a_scale_both_networks_must_see_the_plating(strips: tuple[np.ndarray, np.ndarray, float]) -> None:
    """With one, at fewer pixels per millimetre than close photos have, the first decides alone."""
    rgb, gold, px_per_mm = strips
    photo = Photo("cutting.png", "ef" * 32, np.ascontiguousarray(rgb), "PNG")
    scale = Scale("length", UniformPlane(px_per_mm), px_per_mm, ())
    of_one = LearnedSegmenter(second=Blind())
    assert not of_one.segment(photo, None).share.any()
    assert of_one.segment(photo, scale).share.sum() / 255 == pytest.approx(gold.sum(), rel=0.1)
    assert not LearnedSegmenter(network=Blind()).segment(photo, None).share.any()


def test_no_activation_costs_a_pass_of_its_own(tmp_path: Path) -> None:
    """A clip is not fused into the convolution before it, and took a third of all time."""
    options = onnxruntime.SessionOptions()
    options.enable_profiling, options.profile_file_prefix = True, str(tmp_path / "ran")
    options.log_severity_level = 3
    sides = {"image": 64, "finest": 32, "fine": 16, "coarse": 16}
    for part in parts():
        session = onnxruntime.InferenceSession(part, options, providers=["CPUExecutionProvider"])
        inputs = [(i.name, (1, i.shape[1], sides[i.name], sides[i.name])) for i in session.get_inputs()]
        session.run(None, {name: np.zeros(shape, np.float32) for name, shape in inputs})
        session.end_profiling()
    ran = [step for file in tmp_path.iterdir() for step in json.loads(file.read_text("utf-8"))]
    kinds = {step["args"].get("op_name") for step in ran if step["cat"] == "Node"}
    assert "Conv" in kinds
    assert not kinds & {"Clip", "Relu", "HardSigmoid"}


@pytest.mark.parametrize("shape", [(288, 640), (615, 333)])
def test_tiles_say_what_the_network_says_in_one_go(monkeypatch: pytest.MonkeyPatch, shape: tuple[int, int]) -> None:
    """To the rounding of a byte: a tile reads as far as its layers look."""
    rgb = load_photo(SAMPLES / "memory-modules.jpg").rgb[-640:, -720:][: shape[0], : shape[1]]
    tiled = Network().run(rgb)
    monkeypatch.setattr(network, "_TILE_PX", 2000)
    whole = Network().run(rgb)
    for name in ("share", "contact", "board"):
        one, other = (getattr(maps, name).astype(int) for maps in (tiled, whole))
        assert one.max() > 128
        assert np.abs(one - other).max() <= 1


def test_a_large_picture_read_in_blocks_gives_what_it_gives_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    rgb = load_photo(SAMPLES / "memory-modules.jpg").rgb[:640, -720:]
    whole = Network().run(rgb)
    monkeypatch.setattr(network, "_MOST_AT_ONCE_PX", 200_000)
    blocks = Network().run(rgb)
    plated = whole.share[::2, ::2] > 127  # elsewhere it is left open what plating would be
    for one, other in (
        (whole.share, blocks.share),
        (whole.board, blocks.board),
        (whole.contact[plated], blocks.contact[plated]),
    ):
        assert one.shape == other.shape
        assert np.mean(np.abs(one.astype(int) - other)) < 0.003 * 255
    assert float(blocks.share.sum()) == pytest.approx(float(whole.share.sum()), rel=0.02)


def test_neither_the_segmenter_nor_the_training_package_needs_the_training_library() -> None:
    code = "import grader.coverage.learned, grader.coverage.training, sys; sys.exit('torch' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
