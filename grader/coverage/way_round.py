"""The orientation in which the network looks at a picture: the same for a photo and its turned copies.

The network was trained on pictures at any angle and mirrored; yet its result for one picture differs by a few per
cent with the orientation in which it is shown. A photo that was turned in a viewer is still the same photo: its
brighter half goes to one side, and its longer side is laid horizontally. The network's error stays as large as it is;
photos taken from another side differ as before.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class WayRound:
    """How a picture is turned: first rows and columns are reversed, then rows become columns.

    Attributes:
        flips: whether the order of rows is reversed, and that of columns.
        is_across: whether rows become columns.
    """

    flips: tuple[bool, bool] = (False, False)
    is_across: bool = False

    def laid(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """A picture (height, width, …) in that orientation."""
        flipped = _flipped(picture, self.flips)
        return np.asarray(cv2.transpose(flipped), np.uint8) if self.is_across else flipped

    def back(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The inverse of ``laid``."""
        return _flipped(np.asarray(cv2.transpose(picture), np.uint8) if self.is_across else picture, self.flips)


def way_round(rgb: NDArray[np.uint8]) -> WayRound:
    """The orientation in which a picture, uint8 (height, width, 3), is looked at."""
    grey = cv2.transform(rgb, np.array([[1.0, 2.0, 1.0]], np.float32) / 4)
    height, width = grey.shape
    rows, columns = (_lean(grey, axis, n) for axis, n in ((1, height), (0, width)))
    is_across = abs(rows) > abs(columns) if height == width else height > width
    return WayRound((rows < 0, columns < 0), is_across)


def _lean(grey: NDArray[np.uint8], axis: int, n: int) -> float:
    """Gain in brightness from a picture's beginning to its end, along its n rows or columns."""
    means = cv2.reduce(grey, axis, cv2.REDUCE_AVG, dtype=cv2.CV_64F).ravel()
    return float(means @ (np.arange(n) - (n - 1) / 2)) / n


def _flipped(picture: NDArray[np.uint8], flips: tuple[bool, bool]) -> NDArray[np.uint8]:
    if not any(flips):
        return picture
    return np.asarray(cv2.flip(picture, -1 if all(flips) else int(flips[1])), np.uint8)
