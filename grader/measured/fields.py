"""Kinds of values in a measurement's record: how each is read from JSON, written, and described in the schema."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainSerializer, PlainValidator, WithJsonSchema

from calibration.errors import GraderError
from calibration.notices import Notice
from grader.board_count import BoardCount
from grader.corrections import Correction, correction_json, correction_of
from grader.model import FINISHES, Finish, ProductModel, Term

if TYPE_CHECKING:
    FinishKey = Finish
else:
    FinishKey = Literal[FINISHES]  # a finish that there is: checked when read, and in the schema

_LARGEST_PX = 1e6  # no photo is larger


class Record(BaseModel):
    """Base of a record's parts: frozen; fields that a later version may add are kept, and written again."""

    model_config = ConfigDict(frozen=True, extra="allow", allow_inf_nan=False)


def _kept_as(kind: type, read: Callable[[Any], Any], write: Callable[[Any], Any], schema: dict[str, Any]) -> Any:
    """Make pydantic read and write one of our types with that type's own functions."""

    def of(value: Any) -> Any:
        if isinstance(value, kind):
            return value
        try:
            return read(value)
        except GraderError:
            raise
        except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
            raise ValueError(f"it does not hold what a {schema['title']} must") from error

    return PlainValidator(of), PlainSerializer(write), WithJsonSchema(schema)


def _object(title: str, required: Mapping[str, Any], **optional: Any) -> dict[str, Any]:
    properties = {**required, **optional}
    return {"title": title, "type": "object", "required": list(required), "properties": properties}


_TEXT, _NUMBER = {"type": "string"}, {"type": "number"}
_TEXTS = {"type": "array", "items": _TEXT}
_NOTICE = _object("Notice", {"code": _TEXT, "message": _TEXT, "advice": _TEXT})
_BOARD_COUNT = _object(
    "BoardCount",
    {"chances": {"type": "object", "additionalProperties": {"type": "number", "exclusiveMinimum": 0}}},
    value={"type": "integer"},
    low={"type": "integer"},
    high={"type": "integer"},
    level=_NUMBER,
)
_DISTRIBUTION = _object("Distribution", {"kind": _TEXT, "parameters": {"type": "array", "items": _NUMBER}})
_INPUT = _object(
    "Input",
    {"name": _TEXT, "title": _TEXT, "distribution": _DISTRIBUTION, "source": _TEXT},
    kind=_TEXT,
    of=_TEXTS,
    belief=_TEXT,
    unit=_TEXT,
    aligned_over=_TEXT,
)
_TERM = _object("Term", {"coefficient": _NUMBER, "factors": _TEXTS})
_MODEL = _object(
    "ProductModel",
    {"terms": {"type": "array", "items": _TERM}, "inputs": {"type": "array", "items": _INPUT}},
)
_KINDS_OF_CORRECTION = ["finish", "confirm", "leave_out", "paint_in", "paint_out", "fill_in", "fill_out"]
_PAIR = {"type": "array", "items": _NUMBER, "minItems": 2, "maxItems": 2}
_CORRECTION = _object(
    "Correction",
    {"kind": {"enum": _KINDS_OF_CORRECTION}},
    at_px=_PAIR,
    also_px={"type": "array", "items": _PAIR},
    corners_px={"type": "array", "items": _PAIR, "minItems": 3},
    px_per_screen_px={"type": "number", "exclusiveMinimum": 0},
    path_px={"type": "array", "items": _PAIR, "minItems": 1},
    radius_px={"type": "number", "exclusiveMinimum": 0},
    finish={"enum": list(FINISHES)},
)


def _notice(data: Any) -> Notice:
    code, message, advice = (data[key] for key in ("code", "message", "advice"))
    if not all(isinstance(text, str) for text in (code, message, advice)):
        raise TypeError(data)
    return Notice(code, message, advice)


Pixels = Annotated[float, Field(gt=-_LARGEST_PX, lt=_LARGEST_PX)]
PointPx = tuple[Pixels, Pixels]
NoticeField = Annotated[Notice, *_kept_as(Notice, _notice, lambda n: n.as_json(), _NOTICE)]
BoardCountField = Annotated[
    BoardCount, *_kept_as(BoardCount, BoardCount.from_json, lambda count: count.as_json(), _BOARD_COUNT)
]
ModelField = Annotated[
    ProductModel, *_kept_as(ProductModel, ProductModel.from_json, lambda model: model.as_json(), _MODEL)
]
CorrectionField = Annotated[Correction, *_kept_as(Correction, correction_of, correction_json, _CORRECTION)]
TermsField = tuple[Term, ...]
