"""The renderer of training pictures: designs by plane geometry always, light and masks where Mitsuba is installed."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

shapely = pytest.importorskip("shapely")

from grader.coverage.training.render import families, planes  # noqa: E402
from grader.coverage.training.render.design import CLASSES, Design  # noqa: E402
from grader.coverage.training.render.shapes import Flat, letters, poly_triangles, text_triangles  # noqa: E402

FAMILIES = (*families.FAMILIES, *families.PLAIN)
GOLD = ("gold_finger", "gold_pad")


def area(triangles: np.ndarray) -> float:
    """Sum of the areas of triangles (n, 3, 2); negative where they run clockwise."""
    u, v = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    return float((u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]).sum() / 2)


def union(layer: Flat):
    rects = [shapely.box(*r) for r in layer.rects]
    return shapely.union_all(np.array([*rects, *layer.shapes], object)) if layer else shapely.Polygon()


def designs(family: str, seeds: range = range(4)) -> list[Design]:
    return [families.make_design(family, np.random.default_rng([s, 17]), float(s % 2)) for s in seeds]


@pytest.mark.parametrize("family", FAMILIES)
def test_triangles_cover_what_was_drawn(family):
    for d in designs(family):
        for layer in d.metals.values():
            triangles, owner = layer.triangles()
            drawn = sum(shapely.box(*r).area for r in layer.rects) + sum(s.area for s in layer.shapes)
            assert area(triangles) == pytest.approx(drawn, rel=1e-9, abs=1e-9)
            assert len(owner) == len(triangles)


@pytest.mark.parametrize("family", FAMILIES)
def test_metal_lies_on_the_board_and_not_over_holes(family):
    for d in designs(family):
        body = d.body().buffer(1e-6)
        for name in GOLD:
            assert union(d.metals[name]).difference(body).area < 1e-3 * max(union(d.metals[name]).area, 1)


@pytest.mark.parametrize("family", FAMILIES)
def test_same_seed_same_board(family):
    first, second = (families.make_design(family, np.random.default_rng(5), 1.0) for _ in range(2))
    for name, layer in first.metals.items():
        assert np.array_equal(layer.triangles()[0], second.metals[name].triangles()[0])
    assert first.solids == second.solids


@pytest.mark.parametrize("family", FAMILIES)
def test_nothing_is_plated_after_the_gold_is_taken_off(family):
    for d in designs(family):
        bare = planes.strip_of_gold(d)
        assert not any(bare.metals[name] for name in GOLD)
        assert not any(wall == "gold" for _, wall in bare.holes)
        assert not any(s.material == "goldlead" for s in bare.solids)


def test_every_scene_but_a_fifth_shows_gold_and_a_fifth_shows_none():
    rng = np.random.default_rng(3)
    shares = np.array(list(families.SHARES.values()))
    scenes = rng.choice(list(families.SHARES), 150, p=shares / shares.sum())
    without = 0
    for scene in scenes:
        drawn = families.draw_boards(rng, str(scene), scan=False, hard=float(rng.random() < 0.4))
        without += not any(d.metals[name] for d in drawn for name in GOLD)
    assert 0.2 < without / 150 < 0.42


def test_letters_have_the_height_and_place_asked_for():
    points = text_triangles("LOT A12", 2.5, 10.0, -4.0).reshape(-1, 2)
    low, high = points.min(0), points.max(0)
    assert high[1] - low[1] == pytest.approx(2.5, rel=0.25)
    assert low == pytest.approx((10.0, -4.0), abs=0.4)
    assert text_triangles("LOT A12", 2.5, 0, 0).shape == text_triangles("LOT A12", 1.0, 3, 3, 90).shape


def test_letters_with_holes_keep_them():
    ring = letters("O")
    assert any(p.interiors for p in ring.geoms)
    assert area(poly_triangles([ring])[0]) == pytest.approx(ring.area)


@pytest.fixture(scope="module")
def engine():
    mitsuba = pytest.importorskip("mitsuba", reason="Mitsuba, of the extra train, is not installed")
    dr = pytest.importorskip("drjit")
    if not (dr.has_backend(dr.JitBackend.LLVM) or dr.has_backend(dr.JitBackend.CUDA)):
        pytest.skip("neither a GPU nor LLVM for Mitsuba to compile with")
    assert "mitsuba" in sys.modules
    return mitsuba


def footprints(d: Design):
    """What parts cover, seen from above."""
    found = []
    for s in d.solids:
        x, y, r = (s.x0 + s.x1) / 2, (s.y0 + s.y1) / 2, (s.x1 - s.x0) / 2
        if s.kind in ("box", "rod"):
            found.append(shapely.box(s.x0, s.y0, s.x1, s.y1))
        elif s.kind == "round":
            from grader.coverage.training.render.shapes import rounded

            found.append(rounded(s.x0, s.y0, s.x1, s.y1, 0.45 * min(s.x1 - s.x0, s.y1 - s.y0), 6))
        elif s.kind == "cylinder":
            t = np.arange(s.sides) * 2 * np.pi / s.sides
            found.append(shapely.Polygon(np.c_[x + r * np.cos(t), y + r * np.sin(t)]))
    return shapely.union_all(np.array(found, object)) if found else shapely.Polygon()


@pytest.mark.parametrize("family", ["breakout", "plane", "land_grid", "memory", "rings"])
def test_masks_hold_the_area_that_was_drawn(engine, family):
    from grader.coverage.training.render import board, trace
    from grader.coverage.training.render.camera import Camera

    mi, per_mm, checked = engine, 8.0, 0
    for d in designs(family, range(2)):
        stock = board.SceneMeshes()
        board.add_board(stock, d, np.random.default_rng(1), np.eye(4), 1)
        stock.materials.setdefault("plastic", {"type": "diffuse"})
        meshes = [g.build(n, mi.load_dict({"type": "diffuse"})) for n, g in stock.groups.items()]
        scene = mi.load_dict({"type": "scene", **{f"m{i}": m for i, (m, _) in enumerate(meshes)}}, optimize=False)
        width, height = d.size
        down = np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]])
        size = [int(v * per_mm) + 20 for v in (width, height)]
        seen = trace.masks(
            scene, Camera(*size, down, np.array([width / 2, height / 2, 100.0]), px_per_mm=per_mm), meshes
        )
        covered = footprints(d)
        drawn = union(d.metals["gold_finger"]).union(union(d.metals["gold_pad"])).difference(covered).area
        assert seen.gold.sum() / 255 / per_mm**2 == pytest.approx(drawn, rel=0.003, abs=0.05)
        checked += drawn > 20
        assert set(np.unique(seen.boards)) == {0, 1}
        outline = (seen.boards == 1).sum() / per_mm**2
        assert outline == pytest.approx(shapely.union_all([d.body(), covered]).area, rel=0.02)
    assert checked


def test_a_scene_is_written_whole(engine, tmp_path: Path):
    from grader.coverage.training.render.make import Wish, make_scene

    assert engine
    told = make_scene(tmp_path, Wish(seed=12, hard=1.0, width=96, samples=16), 0)
    assert told["names"]
    for name in told["names"]:
        picture = cv2.imread(str(tmp_path / "images" / f"{name}.jpg"))
        gold, boards, classes = (
            cv2.imread(str(tmp_path / "masks" / f"{name}_{kind}.png"), cv2.IMREAD_GRAYSCALE)
            for kind in ("gold", "board", "mask")
        )
        assert picture.shape[:2] == gold.shape == boards.shape == classes.shape
        assert picture.std() > 5
        assert float((tmp_path / "masks" / f"{name}_scale.txt").read_text()) > 0
        assert classes.max() < len(CLASSES)
        plated = np.isin(classes, [CLASSES[n] for n in GOLD])
        assert gold[plated].min(initial=255) > 40
        assert not (plated & (boards == 0)).any()
    assert not list((tmp_path / "images").glob("*.part"))
