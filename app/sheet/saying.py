"""The meaning of a tap on the sheet: statements about pairs of looks, from which the boards are divided anew."""

from __future__ import annotations

from collections.abc import Sequence

from app.lots.sheets import BoardSheet, SheetLook
from grader.listing import Saying

LooksAtBoard = tuple[SheetLook, ...]


def looks_at_board_of(sheet: BoardSheet, look: SheetLook) -> LooksAtBoard:
    """All looks at the board of a look; only the look itself if it is not at a board."""
    return next((board for board in sheet.boards if look in board), (look,))


def one_board(sheet: BoardSheet, one: SheetLook, other: SheetLook) -> list[Saying]:
    """Say that two looks are at the same face of one board."""
    return _joined(sheet, one, other, are_faces=False)


def two_faces(sheet: BoardSheet, one: SheetLook, other: SheetLook) -> list[Saying]:
    """Say that two looks are at the two faces of one board."""
    return _joined(sheet, one, other, are_faces=True)


def _joined(sheet: BoardSheet, one: SheetLook, other: SheetLook, *, are_faces: bool) -> list[Saying]:
    """All looks at both boards become looks at one; only the first look moves if a photo shows both boards."""
    first, second = looks_at_board_of(sheet, one), looks_at_board_of(sheet, other)
    said = [Saying("board", look.spot) for look in (one, other) if look in sheet.none]
    if first == second:
        return [*said, Saying("backs" if are_faces else "same", one.spot, other.spot)]
    if {look.spot.photo for look in first} & {look.spot.photo for look in second}:
        said += [Saying("apart", one.spot, look.spot) for look in first if look != one]
        said += [Saying("apart", one.spot, look.spot) for look in second if look.spot.photo == one.spot.photo]
        first = (one,)
        second = tuple(look for look in second if look.spot.photo != one.spot.photo)
    # the faces of both boards lie as the two looks say
    turned = (one.face == other.face) == are_faces
    for a in first:
        for b in second:
            is_same = (a.face == b.face) != turned
            said.append(Saying("same" if is_same else "backs", a.spot, b.spot))
    return said


def another_board(sheet: BoardSheet, chosen: Sequence[SheetLook]) -> list[Saying]:
    """Say that one look is at a board of its own, or that two looks are at two boards."""
    said = [Saying("board", look.spot) for look in chosen if look in sheet.none]
    if len(chosen) == 1:
        return said + [
            Saying("apart", chosen[0].spot, look.spot)
            for look in looks_at_board_of(sheet, chosen[0])
            if look != chosen[0]
        ]
    one, other = chosen
    stay = [look for look in looks_at_board_of(sheet, one) if look != other]
    return said + [Saying("apart", other.spot, look.spot) for look in stay]


def no_board(chosen: Sequence[SheetLook]) -> list[Saying]:
    """Say that the looks do not show a board."""
    return [Saying("none", look.spot) for look in chosen]
