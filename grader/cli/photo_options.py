"""The options that say how photos are measured, for all commands that measure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import UsageError
from calibration.print_check import load_print_check
from calibration.reading import read_bytes
from grader.cli.choices import choose_scale
from grader.cli.learned import learned_from
from grader.correct import Corrections, parse_corrections
from grader.corrections import CORRECTIONS_FILE, NO_CORRECTIONS
from grader.coverage.choose import segmenter_named, segmenter_names
from grader.places import print_check_path
from grader.request import Request
from grader.units import parse_length_mm

if TYPE_CHECKING:
    from grader.learn import Newest


@dataclass(frozen=True)
class PhotoOptions:
    """The options about scale, boards and prior knowledge; None if not given."""

    target: Annotated[Path | None, typer.Option(help="Scale from the ChArUco sheet that this JSON describes.")] = None
    length: Annotated[
        str | None,
        typer.Option(help="Scale from a known length: '133.35 mm', or a thing's name: 'DIMM', 'US quarter'."),
    ] = None
    start: Annotated[str | None, typer.Option("--from", help="One end of the known length: X,Y in pixels.")] = None
    end: Annotated[str | None, typer.Option("--to", help="Its other end.")] = None
    rectangle: Annotated[
        str | None,
        typer.Option(help="Scale from a known rectangle: '133.35 x 31.25 mm', or its name: 'ID-1 card', 'A4 sheet'."),
    ] = None
    corners: Annotated[
        tuple[str, str, str, str] | None,
        typer.Option(help="Its four corners in order, X,Y each; the first edge is the first length."),
    ] = None
    coin: Annotated[
        str | None, typer.Option(help="Scale from a coin: its name ('2 euro'), or a disc's '24.26 mm'.")
    ] = None
    rim: Annotated[
        list[str] | None,
        typer.Option(help="Points on the coin's rim, X,Y each, spread all round: at least five, better eight."),
    ] = None
    pitch: Annotated[
        str | None,
        typer.Option(
            help="Scale from the pitch of the longest row of contacts: '1.27 mm', or its name: 'PCI Express'."
        ),
    ] = None
    board_thickness: Annotated[str | None, typer.Option(help="Thickness of the boards: '1.6 mm'.")] = None
    segmenter: Annotated[
        str | None,
        typer.Option(
            help="Segmenter to use, by name, if an installed package provides another.",
            hidden=len(segmenter_names()) == 1,
        ),
    ] = None
    corrections: Annotated[
        Path | None,
        typer.Option(help="Corrections by hand from this JSON: as the page saved them, or a measurement with them."),
    ] = None
    published: Annotated[
        bool, typer.Option("--published", help="Use the published thickness, not what the log's yields taught.")
    ] = False
    log: Annotated[str | None, typer.Option(help="The log to learn from. Default: the usual one.")] = None
    calibration: Annotated[
        Path | None, typer.Option(help="File that keeps the check bar's length. Default: the usual one.")
    ] = None

    def thickness_mm(self) -> float | None:
        """Of the boards, where it was said.

        Raises:
            UsageError: it cannot be read.
        """
        return parse_length_mm(self.board_thickness) if self.board_thickness is not None else None

    def request(self, *, no_scale: bool = False) -> Request:
        """How a photo is to be measured, but for what yields taught of its boards.

        Args:
            no_scale: whether to do without scale; no other way to scale may then be given.

        Raises:
            UsageError: several ways to scale, a value that cannot be read, or an unknown segmenter.
            DataFileError: a file that was named cannot be read.
        """
        scale = choose_scale(
            target=self.target, length=self.length, start=self.start, end=self.end, rectangle=self.rectangle,
            corners=self.corners, coin=self.coin, rim=self.rim, pitch=self.pitch, no_scale=no_scale,
        )  # fmt: skip
        if self.segmenter is not None:
            segmenter_named(self.segmenter)  # told before any photo is read
        check = load_print_check(self.calibration if self.calibration is not None else print_check_path())
        return Request(
            scale=scale,
            board_thickness_mm=self.thickness_mm(),
            print_factor=check.print_factor() if check is not None else None,
            segmenter=self.segmenter,
        )

    def by_hand(self, photos: Sequence[Path]) -> Corrections:
        """Corrections from their file, none if none is named.

        Args:
            photos: that are to be measured.

        Raises:
            UsageError: there is not just one photo.
            DataFileError: the file cannot be read, or holds no corrections.
        """
        if self.corrections is None:
            return NO_CORRECTIONS
        if len(photos) != 1:
            raise UsageError(
                "corrections-one-photo", "Corrections belong to one photo.", "Give the corrected photo by itself."
            )
        return parse_corrections(read_bytes(self.corrections, CORRECTIONS_FILE))

    def learned(self) -> Newest | None:
        """What the log's yields teach; None if there are none, or where published thickness is wanted.

        Raises:
            LogError: the log that was named cannot be read.
        """
        return None if self.published else learned_from(self.log)
