"""The learned segmenter: a small network finds where and roughly how much; unmixing finds how much at edges.

1. A coarse pass of the network over the whole picture finds where plating may be.
2. A fine pass, at 7 to 8 px per mm, reads windows around what the coarse pass saw, and nothing elsewhere. Close
   photos, and those without a scale, are read at several sizes instead, the smaller ones by a second network: each
   place gets the greater of two shares where both see plating, large plating is taken from smaller copies
   (``several_looks``), and weak plating takes the side that its colour speaks for (``weak_plating``).
3. Rows of contacts take their width, ends and missing contacts from the photo where it shows them clearly
   (``folded_rows``). With a scale, other rows that the network is not sure of are drawn evenly (``contact_rows``).
4. With a scale, edge pixels get the network's own share where the photo is coarse, two-colour unmixing at the photo's
   own resolution where contacts are many pixels wide, and a mixture in between. On pictures not trained on, the
   network finds somewhat too little and unmixing somewhat too much; the mixture is nearer the truth than either.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.plane import ResizedPlane
from calibration.scale import Scale
from grader.coverage.contact_rows import draw_rows
from grader.coverage.error import doubt_of, error_inputs, quality_notices, share_of_contacts
from grader.coverage.folded_rows import draw_folded_rows
from grader.coverage.model import Coverage
from grader.coverage.network import Maps, Network
from grader.coverage.off_boards import without_stray
from grader.coverage.several_looks import MUCH_SMALLER, SMALLER, SmallerLook, seen_together
from grader.coverage.unmix import unmix_edges
from grader.coverage.way_round import WayRound, way_round
from grader.coverage.weak_plating import strengthened
from grader.coverage.windows import Window, windows_around
from grader.photo import Photo, shrunk

# Where unmixing decides the edges (below), the network only needs to find the place.
# On renders not trained on, 7 px per mm gave the same error as 8 there; at 6, one close view in ten was worse.
FINE_PX_PER_MM, FINE_WHERE_UNMIXED = 8.0, 7.0
FINE_SIDE_PX = 1600  # longest side of the fine picture where there is no scale
# From so many pixels per millimetre at that size on, photos with a scale are read as those without. Of 29 such with
# edge contacts, made smaller to 7 px per mm, the mean IoU is 0.735, else 0.769; of 8 with pads 0.834 and 0.848.
CLOSE_PX_PER_MM = 9.0
LARGEST_FACTOR = 1.7  # the network was trained on pictures enlarged up to twice
COARSE_PX_PER_MM = 3.0  # plating is found as well at 2.5, but touching boards are distinguished less well
LEAST_COARSE_PX, MOST_COARSE_PX = 0.4e6, 2.0e6
MOST_FINE_PX = 5.0e6  # of all windows together: limits time; beyond it the fine picture is made smaller
# Around what was seen: how far pixels are decided anew, and how far beyond that is read. On renders not trained on, a
# reach of 24 finds nothing more; a margin of 16 leaves their mean error, but changes single pictures by up to 9 %.
REACH_PX, MARGIN_PX = 16, 32
WINDOW_COSTS_PX = 10_000  # one more pass of the network takes about as long as this many more pixels
# Less plating than this in a whole photo cannot be told from no plating: gold-free renders showed up to about 1 mm2.
LEAST_FOUND_MM2 = 1.0
LEAST_COARSE_SHARE = 8  # of 255: places where the coarse pass saw this much are read again; 13 loses pale pads
PLATED_ABOVE = 102  # network's share, 255 = 1, above which a pixel goes to unmixing as plated
# From where unmixing begins to count, and from where only unmixing counts: in px per mm, chosen on renders not
# trained on; for close photos in widths of the picture that is read. Of 2, 1.5 and never, 2 was best on four photos.
UNMIX_PX_PER_MM = (6.0, 12.0)
UNMIX_LARGER = (1.0, 2.0)


class LearnedSegmenter:
    """See the module's docstring.

    Args:
        network: for trying other weights; by default the network that the product ships.
        second: the network that looks at smaller copies; by default the second one that the product ships.
    """

    name = "learned-7"

    def __init__(self, network: Network | None = None, second: Network | None = None) -> None:
        self._network = network or Network()
        self._second = second or Network.second()

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        """Coverage of one photo; without scale, the network judges sizes from the picture alone."""
        rgb = photo.rgb
        size = (photo.width_px, photo.height_px)
        read_at = None if _is_close(rgb, scale) else scale  # the scale, if it says how large the photo is read
        smaller = _resized(rgb, _coarse_factor(rgb, scale))
        way = way_round(smaller)
        smaller = way.laid(smaller)
        coarse = self._network.run(smaller)
        picture, *maps = _fine_pass(
            self._network, smaller, coarse, lambda: way.laid(_resized(rgb, _fine_factor(rgb, read_at)))
        )
        looks = _more_looks(self._second, picture, coarse) if read_at is None and maps[0].any() else ()
        self._network.rest()
        # everything below works with the photo in its own orientation
        picture, fine, contact = (way.back(p) for p in (picture, *maps))
        looks = tuple(SmallerLook(way.back(look.share), way.back(look.contact)) for look in looks)
        board = way.back(coarse.board)
        doubt = doubt_of(fine)
        if looks:
            seen = seen_together(fine, looks, contact)
            fine = strengthened(picture, np.maximum.reduce([without_stray(part, board) for part in seen]), contact)
        else:
            fine = without_stray(fine, board)
        fine = _rows_folded(way, rgb, picture, fine, contact, only_clearly=read_at is not None)
        if scale is not None:
            factor = fine.shape[1] / rgb.shape[1]
            fine = draw_rows(picture, fine, contact, ResizedPlane(scale.plane, factor), scale.px_per_mm * factor)
        share = _resampled(fine, size)
        mask = share > PLATED_ABOVE
        weight = _unmix_weight(rgb, scale)
        if weight > 0 and scale is not None:
            coarser = rgb.shape[1] / fine.shape[1]
            unmixed = unmix_edges(rgb, mask, scale.px_per_mm, int(np.ceil(0.5 * coarser)) + 1)
            share = np.asarray(cv2.addWeighted(unmixed, weight, share, 1 - weight, 0), np.uint8)
        if scale is not None and cv2.sumElems(share)[0] / 255 < LEAST_FOUND_MM2 * scale.px_per_mm**2:
            share, mask = np.zeros_like(share), np.zeros_like(mask)
        return Coverage(
            share=share,
            board=np.asarray((_resampled(board, size) > 127) | mask),
            segmenter=self.name,
            area_inputs=error_inputs(
                self.name, photo.short_id, scale, share, doubt, share_of_contacts(fine, contact)
            ),
            notices=quality_notices(rgb, share, scale),
            contact=_resampled(contact, size),
            doubt=doubt,
        )


def _rows_folded(way: WayRound, *pictures: NDArray[np.uint8], only_clearly: bool = False) -> NDArray[np.uint8]:
    """Shares with rows drawn as ``draw_folded_rows`` does, the same for a photo and its turned copies."""
    photo, picture, share, contact = (way.laid(p) for p in pictures)
    return way.back(draw_folded_rows(photo, picture, share, contact, only_clearly=only_clearly))


def _is_close(rgb: NDArray[np.uint8], scale: Scale | None) -> bool:
    """Whether a photo is read at the size of those without a scale: it has none, or shows more at that size."""
    return scale is None or _fine_factor(rgb, None) * scale.px_per_mm > CLOSE_PX_PER_MM


def _unmix_weight(rgb: NDArray[np.uint8], scale: Scale | None) -> float:
    """Weight of unmixing against the network's own shares, 0..1, linear on a logarithmic scale."""
    if scale is None:
        return 0.0
    return _rising(1 / _fine_factor(rgb, None), UNMIX_LARGER) if _is_close(rgb, scale) else _by_scale(scale)


def _by_scale(scale: Scale) -> float:
    """That weight for a picture that is read at 7 to 8 px per mm."""
    return _rising(scale.px_per_mm, UNMIX_PX_PER_MM)


def _rising(value: float, limits: tuple[float, float]) -> float:
    """0 below, 1 above the limits, linear on a logarithmic scale between them."""
    return float(np.clip(np.log(value / limits[0]) / np.log(limits[1] / limits[0]), 0, 1))


def _coarse_factor(rgb: NDArray[np.uint8], scale: Scale | None) -> float:
    """Coarse picture's width ÷ photo's."""
    least, most = (np.sqrt(n / (rgb.shape[0] * rgb.shape[1])) for n in (LEAST_COARSE_PX, MOST_COARSE_PX))
    wanted = COARSE_PX_PER_MM / scale.px_per_mm if scale else 1.0
    return float(min(_fine_factor(rgb, scale), 1.0, max(least, min(wanted, most))))


def _fine_factor(rgb: NDArray[np.uint8], scale: Scale | None) -> float:
    """Fine picture's width ÷ photo's."""
    if scale is None:
        return float(min(1.0, FINE_SIDE_PX / max(rgb.shape[:2])))
    wanted = FINE_PX_PER_MM + (FINE_WHERE_UNMIXED - FINE_PX_PER_MM) * _by_scale(scale)
    return float(min(LARGEST_FACTOR, wanted / scale.px_per_mm))


def _fine_pass(
    network: Network, smaller: NDArray[np.uint8], coarse: Maps, finer: Callable[[], NDArray[np.uint8]]
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]:
    """The fine picture, or a smaller one if that would be too much work; its shares and contact chances, 255 = 1.

    Args:
        network: the network to run.
        smaller: the picture of the coarse pass; returned if that pass saw nothing.
        coarse: what the coarse pass saw.
        finer: makes the fine picture.
    """
    if not (coarse.share >= LEAST_COARSE_SHARE).any():
        return smaller, np.zeros_like(coarse.share), np.zeros_like(coarse.share)
    picture = finer()
    if coarse.share.shape == picture.shape[:2]:  # without a scale the coarse pass looks just as closely
        seen = _seen(coarse, REACH_PX)
        contact = _resampled(coarse.contact, picture.shape[1::-1])
        return picture, _only(seen, coarse.share), _only(seen, contact)
    windows = _windows(picture, coarse)
    cost = sum(w.area_px for w in windows)
    if cost > MOST_FINE_PX:
        picture = _resized(picture, (MOST_FINE_PX / cost) ** 0.5)
        windows = _windows(picture, coarse)
    return picture, *_read(network, picture, windows)


def _read(
    network: Network, picture: NDArray[np.uint8], windows: list[Window]
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Shares and contact chances in a picture's windows, 255 = 1; 0 outside them."""
    share = np.zeros(picture.shape[:2], np.uint8)
    contact = np.zeros(picture.shape[:2], np.uint8)
    for window in windows:
        maps = network.run(picture[window.outer])
        rows, columns = (
            slice(i.start - o.start, i.stop - o.start) for i, o in zip(window.inner, window.outer, strict=True)
        )
        share[window.inner] = maps.share[rows, columns]
        contact[window.inner] = _resampled(maps.contact, maps.share.shape[::-1])[rows, columns]
    return share, contact


def _more_looks(network: Network, picture: NDArray[np.uint8], coarse: Maps) -> tuple[SmallerLook, ...]:
    """What a network sees in smaller copies of the picture; in the first only near what the coarse pass saw."""
    smaller = _resized(picture, SMALLER)
    near = SmallerLook(*_read(network, smaller, _windows(smaller, coarse)))
    whole = (network.run(_resized(picture, factor)) for factor in MUCH_SMALLER)
    return near, *(SmallerLook(maps.share, maps.contact) for maps in whole)


def _windows(picture: NDArray[np.uint8], coarse: Maps) -> list[Window]:
    """Windows of the fine picture around what the coarse pass saw."""
    height, width = picture.shape[:2]
    reach = int(np.ceil(REACH_PX * coarse.share.shape[0] / height))
    return windows_around(_seen(coarse, reach), (height, width), MARGIN_PX, WINDOW_COSTS_PX)


def _seen(coarse: Maps, reach_px: int) -> NDArray[np.bool_]:
    """Mask of where there may be plating, and its surroundings."""
    return np.asarray(cv2.dilate(coarse.share, np.ones((2 * reach_px + 1,) * 2, np.uint8)) >= LEAST_COARSE_SHARE)


def _only(where: NDArray[np.bool_], picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.where(where, picture, np.uint8(0))


def _resized(rgb: NDArray[np.uint8], factor: float) -> NDArray[np.uint8]:
    if factor == 1:
        return rgb
    height, width = rgb.shape[:2]
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    if factor < 1:
        return shrunk(rgb, size)
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_CUBIC), np.uint8)


def _resampled(chance: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """A map resized to (width, height); its sum over area stays the same."""
    smaller = size[0] < chance.shape[1]
    return np.asarray(
        cv2.resize(chance, size, interpolation=cv2.INTER_AREA if smaller else cv2.INTER_LINEAR), np.uint8
    )
