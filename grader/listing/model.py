"""Contents of a listing: photos, boards with their looks, the number of boards, plating and gold of all of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from calibration.notices import Notice
from grader.board_count import BoardCount
from grader.listing.division import MatchDoubt
from grader.listing.looks import Look
from grader.lot import Lot, OtherFace, PartText, SightText, lot_of
from grader.measured import Measured
from grader.measured.figures import range_of
from grader.model import Finish, ProductModel, Range
from grader.regions.heap import Heap

Face = Literal["front", "back"]


@dataclass(frozen=True, eq=False)
class ListingPhoto:
    """One photo of a listing.

    Attributes:
        name: name of its file.
        sha256: SHA-256 of its bytes; empty where it could not be read.
        measured: its record; None for a copy, and where it could not be read.
        error: why it could not be read.
        copy_of: name of the photo that is the same file.
        has_borrowed_scale: whether another photo's boards gave its scale.
    """

    name: str
    sha256: str = ""
    measured: Measured | None = None
    error: Notice | None = None
    copy_of: str | None = None
    has_borrowed_scale: bool = False

    def as_json(self) -> dict[str, Any]:
        """The form in reports."""
        scale = None if self.measured is None or self.measured.scale is None else self.measured.scale
        return {
            "photo": self.name,
            "sha256": self.sha256,
            "px_per_mm": None if scale is None else scale.px_per_mm,
            "scale": None if scale is None else "borrowed" if self.has_borrowed_scale else scale.method,
            "copy_of": self.copy_of,
            "error": None if self.error is None else self.error.as_json(),
        }


@dataclass(frozen=True, eq=False)
class BoardLook:
    """One look at a board.

    Attributes:
        look: the outline in its photo; ``look.photo`` is a place in ``Listing.photos``.
        face: face of the board; its front is the face that more photos show.
        is_best: whether this look's plating stands for that face.
        number: the look's own number in the listing.
        sure: chance that the look is at this board.
    """

    look: Look
    face: Face
    is_best: bool
    number: int
    sure: float = 1.0


@dataclass(frozen=True, eq=False)
class LotBoard:
    """A board of the lot, once.

    Attributes:
        looks: looks at it.
        area_mm2: plating of its best looks, by finish; empty without scale.
        gold_mg: gold in it.
        is_whole: whether a look shows it whole.
    """

    looks: tuple[BoardLook, ...]
    area_mm2: Mapping[Finish, ProductModel]
    gold_mg: ProductModel
    is_whole: bool

    @property
    def best(self) -> tuple[BoardLook, ...]:
        """The best look at each face that was seen."""
        return tuple(each for each in self.looks if each.is_best)


@dataclass(frozen=True, eq=False)
class Listing:
    """All that the photos of one listing show.

    Attributes:
        photos: by their sha256, then those that could not be read; copies last.
        boards: each once.
        board_count: possible number of boards: outlines may stand for more or fewer, and matches may be wrong.
        doubts: unsure matches; ``first`` and ``second`` are places in ``boards``, ``parted`` are numbers of looks.
        record: measurement of all boards as if one photo showed them, both faces as far as seen; None without scale.
        fronts: the same for boards with one face seen; None where there are no such boards.
        fronts_with_backs: the same for fronts of boards whose backs were seen; None where there are no such boards.
        backs: the same for those backs.
        area_mm2: plating of all boards; None where no photo has a scale.
        gold: gold in it.
        notices: warnings and hints.
        no_boards: looks at things that were first taken for boards but are not boards.
        heaps: photos in which boards overlap, by their names.
    """

    photos: tuple[ListingPhoto, ...]
    boards: tuple[LotBoard, ...]
    board_count: BoardCount
    doubts: tuple[MatchDoubt, ...]
    record: Measured | None
    fronts: Measured | None
    fronts_with_backs: Measured | None
    backs: Measured | None
    area_mm2: ProductModel | None
    gold: ProductModel | None
    notices: tuple[Notice, ...]
    no_boards: tuple[BoardLook, ...] = ()
    heaps: Mapping[str, Heap] = field(default_factory=dict)

    @property
    def plated_area_mm2(self) -> Range | None:
        """Plating of all boards, each face once, mm²."""
        return None if self.area_mm2 is None else range_of(self.area_mm2)

    @property
    def gold_mg(self) -> Range | None:
        """Gold of all boards, mg."""
        return None if self.gold is None else range_of(self.gold)

    def lot(self, *, count: str = "", mass: str = "", other_face: OtherFace = "left_out", kind: str = "") -> Lot:
        """The lot, to be estimated and valued.

        Args:
            count: number of boards in it, where more are sold than the photos show.
            mass: mass of the lot, stated instead of a count.
            other_face: how to treat the backs that no photo shows.
            kind: kind of boards, by its key or words; the kind that they were measured with if left out.

        Raises:
            UsageError: ``measurements-none`` where no photo has a scale, or as ``lot_of``.
        """
        return lot_of_faces(
            self.fronts, self.fronts_with_backs, self.backs, count=count, mass=mass, other_face=other_face, kind=kind
        )

    def to_dict(self) -> dict[str, Any]:
        """A JSON object: photos, boards and where they are, count, area, gold, doubts."""
        return {
            "schema": 1,
            "kind": "listing",
            "photos": [p.as_json() for p in self.photos],
            "boards": [self._board(number) for number in range(len(self.boards))],
            "no_boards": [self._look(each) for each in self.no_boards],
            "board_count": self.board_count.as_json(),
            "heaps": [
                {"photo": name, "board_count": heap.count.as_json(), "whole_board_mm2": round(heap.whole_mm2, 1)}
                for name, heap in self.heaps.items()
            ],
            "plated_area_mm2": _range_json(self.plated_area_mm2),
            "gold_mg": _range_json(self.gold_mg),
            "doubts": [
                {
                    "chance": round(d.chance, 4),
                    "board": d.first + 1,
                    "and": None if d.second is None else d.second + 1,
                    "is_back": d.is_back,
                    "looks": [n + 1 for n in d.parted],
                    "is_none": d.is_none,
                }
                for d in self.doubts
            ],
            "warnings": [n.as_json() for n in self.notices],
        }

    def _board(self, number: int) -> dict[str, Any]:
        board = self.boards[number]
        area = sum(board.area_mm2.values(), ProductModel((), {}))
        return {
            "board": number + 1,
            "is_whole": board.is_whole,
            "plated_area_mm2": _range_json(range_of(area)) if board.area_mm2 else None,
            "looks": [self._look(each) for each in board.looks],
        }

    def _look(self, each: BoardLook) -> dict[str, Any]:
        return {
            "look": each.number,
            "photo": self.photos[each.look.photo].name,
            "sha256": self.photos[each.look.photo].sha256,
            "face": each.face,
            "is_best": each.is_best,
            "is_cut": each.look.is_cut,
            "sure": round(each.sure, 3),
            "outline_px": [[round(float(x), 1), round(float(y), 1)] for x, y in each.look.outline_px],
        }


def lot_of_faces(
    fronts: Measured | None,
    fronts_with_backs: Measured | None,
    backs: Measured | None,
    *,
    count: str = "",
    mass: str = "",
    other_face: OtherFace = "left_out",
    kind: str = "",
) -> Lot:
    """The lot of a listing's boards by the faces that were seen; as ``Listing.lot``."""
    photos, sights = [], []
    if fronts_with_backs is not None and backs is not None:
        sights.append(SightText(fronts_with_backs.sha256, backs.sha256))
        photos += [fronts_with_backs, backs]
    if fronts is not None:
        sights.append(SightText(fronts.sha256))
        photos.append(fronts)
    if not sights:
        return Lot(())
    return lot_of([PartText("the boards", tuple(sights), count, mass, other_face, kind)], photos)


def _range_json(known: Range | None) -> dict[str, float] | None:
    return None if known is None else known.as_json()
