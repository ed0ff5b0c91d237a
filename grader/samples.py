"""The demo's photos: where they are, and the story that goes with them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from calibration.errors import DataFileError, UsageError
from calibration.packaged import toml_of
from grader.lot import PartText, SightText
from grader.request import Request
from grader.scale_choice import Automatic, ByLength
from grader.units import parse_length_mm


@dataclass(frozen=True)
class Sample:
    """One demo photo.

    Attributes:
        path: of the picture.
        title: what it shows, in a few words.
        request: how it is to be measured.
        part: what its boards are in the invented lot; None if they are not for sale.
    """

    path: Path
    title: str
    request: Request
    part: PartText | None

    @property
    def for_sale(self) -> bool:
        """Whether its boards are part of the invented lot."""
        return self.part is not None


@dataclass(frozen=True)
class Demo:
    """The demo's photos and the invented deal they belong to.

    Attributes:
        samples: in the order in which they are shown.
        spot: price of gold with its unit, an example.
        asking: the invented seller's price.
        costs: of refining the lot, an example.
        story: what the lot is, one sentence.
    """

    samples: tuple[Sample, ...]
    spot: str
    asking: str
    costs: tuple[str, ...]
    story: str

    @property
    def parts(self) -> tuple[PartText, ...]:
        """What the invented lot holds."""
        return tuple(s.part for s in self.samples if s.part is not None)


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
        data = toml_of((place / "demo.toml").read_text("utf-8"))
        return Demo(
            samples=tuple(_sample(place, entry) for entry in data["photo"]),
            spot=data["spot"],
            asking=data["asking"],
            costs=tuple(data["costs"]),
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
        part=_part(entry["file"], entry["part"]) if "part" in entry else None,
    )


def _part(photo: str, entry: Mapping[str, Any]) -> PartText:
    return PartText(entry["name"], (SightText(photo, boards=int(entry["boards"])),), str(entry["count"]))
