"""The sheet of a listing: each board with all looks at it, to be checked and corrected, as one HTML file.

It is self-contained: no script, no font, no picture from elsewhere. Each look carries the words by which a
correction names it: the beginning of its photo's sha256 and a point on the board.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.listing.model import BoardLook, Listing, LotBoard
from grader.model import EMPTY, Range

_THUMB_PX = 220
_MOST_HIGH_PX = 200
_QUALITY = 82
_STYLE = """
:root { color-scheme: light dark; }
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 72rem; margin: 0 auto; padding: 1rem 1rem 4rem; }
h1 { margin-bottom: 0; } h2 { font-size: 1.1rem; margin: 1.6rem 0 .3rem; border-top: 1px solid #8886;
padding-top: .8rem; }
.looks { display: flex; flex-wrap: wrap; gap: 1rem; } figure { margin: 0; max-width: 240px; }
img { max-width: 100%; height: auto; border-radius: 4px; } figcaption { font-size: .85rem; overflow-wrap: anywhere; }
.best img { outline: 3px solid #2a7; } code { font-size: .8rem; } li { margin: .2rem 0; }
"""
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def sheet_html(listing: Listing, title: str) -> str:
    """The sheet. Every text in it is escaped, because anyone may have typed the names.

    Args:
        listing: a listing that was read.
        title: title of the sheet.
    """
    boards = "".join(_board(listing, n) for n in range(len(listing.boards)))
    if listing.no_boards:
        looks = "".join(_look(listing, (), each) for each in listing.no_boards)
        boards += f'<h2>Taken for no boards</h2><div class="looks">{looks}</div>\n'
    minds = "".join(f"<li>{escape(n.message)} {escape(n.advice)}</li>" for n in listing.notices)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(_POLICY)}">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head>\n<body><main><h1>{escape(title)}</h1>"
        f"<p>{escape(summary(listing))}</p><ul>{minds}</ul>\n{boards}"
        f"<h2>To correct it</h2><p>{_HOW}</p></main></body></html>\n"
    )


_HOW = (
    "Write a file with one entry for each correction. The words under a picture name the look.<br>"
    '<code>[[sayings]] say = "same"</code> for two looks at one face of one board, '
    '<code>"backs"</code> for its two faces, <code>"apart"</code> for two boards; '
    '<code>one = ["1a2b3c4d", 310, 225]</code>, <code>other = ["5e6f7a8b", 80, 91]</code>. '
    'What is no board: <code>say = "none"</code> with <code>one</code> alone; the opposite: <code>"board"</code>. '
    'Photos to leave out: <code>without = ["photo.jpg"]</code>, at the top of the file.'
)


def summary(listing: Listing) -> str:
    """Count, heaps, plating and gold in a sentence."""
    photos = sum(p.measured is not None for p in listing.photos)
    told = f"{listing.board_count.words()} in {photos} photo{'s' if photos != 1 else ''}"
    for name, heap in listing.heaps.items():
        told += f"; {heap.count.low} to {heap.count.high} may lie in the heap of {name}"
    area, gold = listing.plated_area_mm2, listing.gold_mg
    if area is None or gold is None:
        return f"{told}; no photo gives a scale, so no area and no gold."
    return f"{told}; plating {_range(area, 'mm²')}, gold {_range(gold, 'mg')} (each face once; 90 % sure)."


def _range(known: Range, unit: str) -> str:
    return f"{known.value:,.0f} {unit} ({known.low:,.0f} to {known.high:,.0f})"


def _board(listing: Listing, number: int) -> str:
    board = listing.boards[number]
    words = [f"Board {number + 1}", *board_words(listing, number, board)]
    looks = "".join(_look(listing, board.looks, each) for each in board.looks)
    return f'<h2>{escape("; ".join(words))}</h2><div class="looks">{looks}</div>\n'


def board_words(listing: Listing, number: int, board: LotBoard) -> list[str]:
    """Facts about a board, in words: its plating, whether it was seen whole, and what is in doubt."""
    area = sum(board.area_mm2.values(), EMPTY)
    words = [f"plating {_range(Range.of(area.draws()), 'mm²')}"] if area.terms else []
    if not board.is_whole:
        words.append("seen in part")
    return words + [
        "may be "
        + ("no board" if d.is_none else "two boards" if d.second is None else f"the same as board {d.second + 1}")
        + f" ({d.chance:.0%})"
        for d in listing.doubts
        if d.first == number and d.chance >= _TOLD
    ]


_TOLD = 0.05


def _look(listing: Listing, of_board: Sequence[BoardLook], each: BoardLook) -> str:
    photo = listing.photos[each.look.photo]
    x, y = inner_point(each.look.outline_px)
    name = f'["{photo.sha256[:8]}", {x:.0f}, {y:.0f}]'
    kind = "back" if each.face == "back" else "front" if {e.face for e in of_board} == {"front", "back"} else ""
    words = [photo.name, *([kind] if kind else []), *(["best look"] if each.is_best else [])]
    picture = _picture(each.look.patch)
    return (
        f'<figure class="{"best" if each.is_best else "more"}"><img alt="{escape(" ".join(words))}" src="{picture}">'
        f"<figcaption>{escape(', '.join(words))}<br><code>{escape(name)}</code></figcaption></figure>"
    )


def inner_point(outline_px: NDArray[np.float64]) -> tuple[float, float]:
    """A point (x, y) well inside an outline (k, 2)."""
    low = outline_px.min(axis=0)
    k = 100 / max(float(np.ptp(outline_px, axis=0).max()), 1.0)
    ring = np.round((outline_px - low) * k).astype(np.int32) + 1
    mask = np.zeros((int(ring[:, 1].max()) + 2, int(ring[:, 0].max()) + 2), np.uint8)
    cv2.fillPoly(mask, [ring], 255)
    _, _, _, at = cv2.minMaxLoc(cv2.distanceTransform(mask, cv2.DIST_L2, 3))
    return float((at[0] - 1) / k + low[0]), float((at[1] - 1) / k + low[1])


def _picture(patch: NDArray[np.uint8]) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(look_jpeg(patch)).decode("ascii")


def look_jpeg(patch: NDArray[np.uint8]) -> bytes:
    """A small picture of a look, as JPEG."""
    height, width = patch.shape[:2]
    k = min(_THUMB_PX / width, _MOST_HIGH_PX / height)
    small = cv2.resize(patch, (max(1, round(width * k)), max(1, round(height * k))), interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return bytes(data)
