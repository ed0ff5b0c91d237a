"""Compare the figures shown in a measurement with its own model, to detect a damaged or edited one.

A valuation draws from the model; a person reads the shown figures. Both come from one run, so they agree to
within sampling error; if they do not, neither can be trusted.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache

import numpy as np

from calibration.arrays import FloatArray
from calibration.digits import as_given, in_digits
from calibration.errors import DataFileError
from calibration.inputs import DEFAULT_DRAWS, draw_all
from calibration.packaged import packaged_text
from calibration.sourced import SourcedValue, parse
from grader.measured.parts import MeasuredBoard
from grader.measured.record import FILE, Measured
from grader.model import ProductModel, Range

_LEAST = 1e-6  # mm² or mg: below, figures are nothing
_MOST_NEGATIVE = -1e-9  # of the greatest draw: what is left where terms cancel
_FIX = "It was damaged or edited. Measure the photo again."


def check_shown(where: str, measured: Measured) -> None:
    """Compare a measurement's shown ranges with its model.

    Args:
        where: the file and the photo, for messages.
        measured: a photo with gold; ranges that it does not show are not compared.

    Raises:
        DataFileError: ``measurement-absurd`` for a model whose draws are negative, not finite, or more than any photo
            shows; ``measurement-contradicts`` for a shown figure that the model does not give;
            ``measurement-invalid`` for an outline without a size.
    """
    inputs = {k: i for model in (measured.gold, *measured.areas.values()) for k, i in model.inputs.items()}
    values = draw_all(inputs)
    gold = _drawn(f"{where}: its gold", measured.gold, values, "gold_greatest")
    areas = {f: _drawn(f"{where}: its area", m, values, "area_greatest") for f, m in measured.areas.items()}
    _compare(f"{where}: gold", measured.gold_mg, gold, "mg")
    _compare(f"{where}: plated area", measured.plated_area_mm2, sum(areas.values(), np.zeros(DEFAULT_DRAWS)), "mm²")
    for finish, shown in measured.by_finish.items():
        name = finish.replace("_", " ")
        drawn = areas.get(finish, np.zeros(DEFAULT_DRAWS))
        _compare(f"{where}: area of {name}", shown.area_mm2, drawn, "mm²")
        _at_most(f"{where}: gold of {name}", shown.gold_mg, gold, "mg")
    for number, board in enumerate(measured.boards, 1):
        _check_board(f"{where}: board {number}", board, measured.gold, values)


def _check_board(where: str, board: MeasuredBoard, gold_mg: ProductModel, values: Mapping[str, FloatArray]) -> None:
    if board.area_mm2 is None or not board.area_mm2.value > 0:
        raise FILE.invalid(where, "its outline has no size")
    for outline in (board.area_mm2.low, board.area_mm2.value, board.area_mm2.high):
        if not 0 <= outline <= _bounds()["area_greatest"].value:
            raise _absurd(f"{where}: its area", "mm²", outline)
    if board.gold_terms is None:
        # older measurements do not say it, and some took other thicknesses for boards than for photos
        gold = np.full(DEFAULT_DRAWS, _bounds()["gold_greatest"].value)
    else:
        gold = _drawn(f"{where}: its gold", ProductModel(board.gold_terms, gold_mg.inputs), values, "gold_greatest")
    for finish, shown in (board.by_finish or {}).items():
        _at_most(f"{where}: gold of {finish.replace('_', ' ')}", shown.gold_mg, gold, "mg")


def _drawn(what: str, model: ProductModel, values: Mapping[str, FloatArray], bound: str) -> FloatArray:
    with np.errstate(over="ignore", invalid="ignore", under="ignore"):
        draws = model.evaluate(values, DEFAULT_DRAWS)
    limit = _bounds()[bound]
    if not np.isfinite(draws).all() or np.quantile(draws, 0.95) > limit.value:
        raise _absurd(what, limit.unit.replace("mm2", "mm²"), float(np.max(draws)))
    if draws.min() < min(_MOST_NEGATIVE * draws.max(), -_LEAST):
        raise _absurd(what, limit.unit.replace("mm2", "mm²"), float(draws.min()))
    return draws


def _compare(what: str, shown: Range | None, draws: FloatArray, unit: str) -> None:
    """Refuse a shown range whose median or bounds lie elsewhere than those of the draws."""
    for figure, chance in _figures(what, shown):
        low, high = _around(draws, chance)
        if not low <= figure <= high:
            given = float(np.quantile(draws, chance))
            raise _contradicts(
                what, f"it shows {in_digits(figure, 4)} {unit} where its model gives {in_digits(given, 4)} {unit}"
            )


def _at_most(what: str, shown: Range | None, draws: FloatArray, unit: str) -> None:
    """Refuse a shown range of a part that is more than the whole (draw by draw it is not, so no bound is)."""
    for figure, chance in _figures(what, shown):
        high = _around(draws, chance)[1]
        if not -_LEAST <= figure <= high:
            raise _contradicts(what, f"it shows {in_digits(figure, 4)} {unit} of at most {in_digits(high, 4)} {unit}")


def _around(draws: FloatArray, chance: float) -> tuple[float, float]:
    apart, ratio = _bounds()["chance_apart"].value, _bounds()["ratio_apart"].value
    low, high = np.quantile(draws, [max(chance - apart, 0.0), min(chance + apart, 1.0)])
    return float(low) * (1 - ratio) - _LEAST, float(high) * (1 + ratio) + _LEAST


def _figures(what: str, shown: Range | None) -> Iterable[tuple[float, float]]:
    """The figures of a shown range, each with the chance that the truth lies below it; none if none is shown."""
    if shown is None:
        return ()
    if not 0 < shown.level < 1:
        raise FILE.invalid(what, f"its range cannot have the level {as_given(shown.level)}")
    return (shown.low, (1 - shown.level) / 2), (shown.value, 0.5), (shown.high, (1 + shown.level) / 2)


@cache
def _bounds() -> Mapping[str, SourcedValue]:
    return parse(packaged_text("grader.measured", "data/measurement_bounds.toml"), "measurement_bounds")


def _absurd(what: str, unit: str, figure: float) -> DataFileError:
    return DataFileError(
        "measurement-absurd", f"{what} comes to {in_digits(figure, 4)} {unit}, which no photo can show.", _FIX
    )


def _contradicts(what: str, how: str) -> DataFileError:
    return DataFileError("measurement-contradicts", f"{what}: {how}.", _FIX)
