"""The demo's photos: where they are, and the story that goes with them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from calibration.errors import DataFileError, UsageError
from grader.measure import Automatic, ByLength, Request
from grader.units import parse_length_mm


@dataclass(frozen=True)
class Sample:
    """One demo photo.

    Attributes:
        path: of the picture.
        title: what it shows, in a few words.
        request: how it is to be measured.
        for_sale: whether its boards are part of the invented lot.
    """

    path: Path
    title: str
    request: Request
    for_sale: bool


@dataclass(frozen=True)
class Demo:
    """The demo's photos and the invented deal they belong to.

    Attributes:
        samples: in the order in which they are shown.
        spot: price of gold with its unit, an example.
        asking: the invented seller's price.
        costs: of refining the lot, an example.
        copies: how many times the boards of the photos for sale are in the lot.
        story: what the lot is, one sentence.
    """

    samples: tuple[Sample, ...]
    spot: str
    asking: str
    costs: tuple[str, ...]
    copies: int
    story: str


def samples_folder() -> Path:
    """Folder of the demo's photos: in the installed package, or beside it in a checkout.

    Raises:
        UsageError: neither is there.
    """
    package = Path(str(resources.files("grader")))
    for folder in (package / "sample_images", package.parent / "sample_images"):
        if (folder / "demo.toml").is_file():
            return folder
    raise UsageError(
        "samples-missing",
        "The sample photos are not installed.",
        "Install the program again, or use your own photos.",
    )


def load_demo(folder: Path | None = None) -> Demo:
    """The demo of a folder, or the one that comes with the program.

    Raises:
        DataFileError: its description cannot be read.
    """
    place = folder if folder is not None else samples_folder()
    try:
        data = tomllib.loads((place / "demo.toml").read_text("utf-8"))
        return Demo(
            samples=tuple(_sample(place, entry) for entry in data["photo"]),
            spot=data["spot"],
            asking=data["asking"],
            costs=tuple(data["costs"]),
            copies=int(data["copies"]),
            story=data["story"],
        )
    except UsageError:
        raise
    except (OSError, KeyError, TypeError, ValueError) as error:
        raise DataFileError(
            "demo-invalid", f"The demo in {place} cannot be read ({error}).", "Install the program again."
        ) from error


def _sample(folder: Path, entry: Mapping[str, Any]) -> Sample:
    thickness = parse_length_mm(entry["board_thickness"]) if "board_thickness" in entry else None
    choice: Automatic | ByLength = Automatic()
    if "length" in entry:
        (x0, y0), (x1, y1) = entry["from"], entry["to"]
        choice = ByLength(parse_length_mm(entry["length"]), (float(x0), float(y0)), (float(x1), float(y1)))
    return Sample(
        path=folder / entry["file"],
        title=entry["title"],
        request=Request(scale=choice, board_thickness_mm=thickness),
        for_sale=bool(entry.get("for_sale", False)),
    )
