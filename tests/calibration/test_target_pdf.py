"""The printed target: true size in the raster, found again, and no request to scale the page."""

import numpy as np
import pypdfium2
import pytest

from calibration.area_factors import median_of
from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.from_target import find_own_target
from calibration.target import CHECK_BAR_MM, PAPER_MM, Paper
from calibration.target_pdf import BAR_MM, BLOCK_MM, target_pdf
from calibration.view import View

DPI = 300
PX_PER_MM = DPI / 25.4


def raster(paper: Paper) -> np.ndarray:
    document = pypdfium2.PdfDocument(target_pdf(paper))
    try:
        assert len(document) == 1
        width, height = document[0].get_size()
        assert (width / 72 * 25.4, height / 72 * 25.4) == pytest.approx(PAPER_MM[paper], abs=0.01)
        return np.ascontiguousarray(document[0].render(scale=DPI / 72).to_numpy()[..., :3])
    finally:
        document.close()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_rasterised_and_found_again_within_a_tenth_of_a_percent(paper: Paper) -> None:
    page = raster(paper)
    scale = find_own_target(
        page,
        View(page.shape, id="raster"),
        face_height_mm=Distribution("constant", (0.0,)),
        print_factor=Distribution("constant", (1.0,)),
    )
    assert scale is not None
    assert scale.px_per_mm == pytest.approx(PX_PER_MM, rel=1e-3)
    assert {i.name for i in scale.area_inputs} >= {f"print-size:own-{paper}"}
    assert scale.tilt_deg is not None
    assert scale.tilt_deg < 1


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_check_bar_is_100_mm_in_the_raster(paper: Paper) -> None:
    dark = raster(paper)[..., 0] < 128
    row = round((BLOCK_MM[1] + BAR_MM[1]) * PX_PER_MM)
    columns = np.flatnonzero(dark[row])
    assert np.all(np.diff(columns) == 1)
    # a bar that spans n pixels ends within half a pixel of each
    assert len(columns) / PX_PER_MM == pytest.approx(CHECK_BAR_MM, abs=0.1)


def test_viewers_are_asked_not_to_scale() -> None:
    assert b"/PrintScaling /None" in target_pdf("a4")


def test_same_target_same_bytes() -> None:
    assert target_pdf("letter") == target_pdf("letter")


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(UsageError):
        target_pdf("a5")  # type: ignore[arg-type]


def test_median_of_an_exact_kind_is_exact() -> None:
    assert median_of(Distribution("lognormal", (0.994, 0.01))) == 0.994
