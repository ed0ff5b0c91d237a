"""What looks at one picture in several sizes see together.

The network knows plating at the sizes that training showed it: some pads and contacts it sees in one look only, some
in another. And it looks some 100 px far: of a plane, a blade or a shield's fence that is larger it sees the ends or
nothing, but all of it in a copy a quarter as large.

All looks but the first are a second network's (``network``): what one of the two takes falsely for plating, the other
seldom does. On 59 bare photographs that neither saw, that took false plating from 0.118 to 0.068 % of the frame, and
pads on 28 others from a mean IoU of 0.728 to 0.753.

With one network in all looks, the two smallest bring the median error of 42 photographs with pads that no run saw
(without scale) from 16.1 to 11.1 % and the mean IoU from 0.728 to 0.751; the limits were chosen on these. On 66
others it goes from 14.9 to 12.1 % and from 0.636 to 0.666. False plating on 115 bare photographs: 0.116 to 0.120 % of
the frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

SMALLER = 0.7  # the second look's picture ÷ the first's
MUCH_SMALLER = (0.35, 0.25)  # those for large plating ÷ the first's; a third of 0.5 adds time only
_REGION = 20  # of 255: share above which pixels belong to a region
_SURE = 127
_SEEN_IN_BOTH = 64  # the share, 255 = 1, that a region must reach in both of the first looks
_LARGE_PX = 5  # pixels of the small copy across: rings and pads that are smaller swell there
_LOOKS = 2  # out of all four, in which large plating must be sure
_MISSED = 0.7  # regions of which the first two looks show this part are left to them: they draw edges more sharply
_CONTACT = 128  # chance of an edge contact, 255 = 1, from which much smaller copies count for nothing: gaps fill up


@dataclass(frozen=True, eq=False)
class SmallerLook:
    """What a network sees in a copy of a picture.

    Attributes:
        share: uint8 (height, width), plated share, 255 = 1.
        contact: uint8, of about that size or half of it, chance of an edge contact, 255 = 1.
    """

    share: NDArray[np.uint8]
    contact: NDArray[np.uint8]


def seen_together(
    share: NDArray[np.uint8], looks: Sequence[SmallerLook], contact: NDArray[np.uint8]
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Shares, uint8 (height, width), that the first two looks find, and of large plating that these miss.

    Args:
        share: uint8 (height, width), as the first look sees it, 255 = 1.
        looks: the second, and those at much smaller copies.
        contact: uint8 (height, width), chance of an edge contact in the first look, 255 = 1.
    """
    size = (share.shape[1], share.shape[0])
    first = _seen_twice(share, _resized(looks[0].share, size))
    return first, _resized(_large(share, first, looks, contact), size)


def _large(
    share: NDArray[np.uint8], first: NDArray[np.uint8], looks: Sequence[SmallerLook], contact: NDArray[np.uint8]
) -> NDArray[np.uint8]:
    """Large plating that the first two looks miss, in the size of the third look."""
    height, width = looks[1].share.shape
    share, first, contact = (
        np.asarray(cv2.resize(m, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
        for m in (share, first, contact)
    )
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_LARGE_PX, _LARGE_PX))
    large = np.zeros_like(share)
    for look in looks[1:]:
        opened = _resized(np.asarray(cv2.morphologyEx(look.share, cv2.MORPH_OPEN, disc), np.uint8), (width, height))
        pads = np.maximum(_resized(look.contact, (width, height)), contact) < _CONTACT
        large = np.maximum(large, np.where(pads, opened, np.uint8(0)))
    count, labels = cv2.connectedComponents((large > _REGION).astype(np.uint8))
    seen = [share, *(_resized(look.share, (width, height)) for look in looks)]
    sure = np.sort(_greatest(seen, labels, count), axis=0)[-_LOOKS] > _SURE
    whole, found = (np.bincount(labels.ravel(), m.ravel(), count) for m in (large, np.minimum(large, first)))
    return _of_regions(sure & (found < _MISSED * whole), labels, large)


def _seen_twice(share: NDArray[np.uint8], smaller_look: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The greater share of two looks, without regions that neither is sure of or that one of them hardly sees.

    Doubtful regions are mostly silver in warm light.
    """
    greater = np.maximum(share, smaller_look)
    count, labels = cv2.connectedComponents((greater > _REGION).astype(np.uint8))
    most = _greatest((share, smaller_look), labels, count)
    return _of_regions((most.max(0) > _SURE) & (most.min(0) > _SEEN_IN_BOTH), labels, greater)


def _greatest(looks: Sequence[NDArray[np.uint8]], labels: NDArray[np.int32], count: int) -> NDArray[np.uint8]:
    """The greatest share (n looks, count) that each look reaches in each region; 0 in what is no region."""
    most = np.zeros((len(looks), count), np.uint8)
    inside = labels > 0
    numbers = labels[inside]
    for own, look in zip(most, looks, strict=True):
        np.maximum.at(own, numbers, look[inside])
    return most


def _of_regions(stays: NDArray[np.bool_], labels: NDArray[np.int32], share: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.where(stays[labels], share, np.uint8(0))


def _resized(map_: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    return np.asarray(cv2.resize(map_, size, interpolation=cv2.INTER_LINEAR), np.uint8)
