"""``grader measure``: photos in, plated area and gold out."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from calibration.errors import GraderError, LogError, PhotoError, RefusedError, UsageError
from calibration.files import check_place
from calibration.print_check import load_print_check
from grader.cli.choices import (
    CornersOption,
    EndOption,
    LengthOption,
    PitchOption,
    RectangleOption,
    StartOption,
    TargetOption,
    ThicknessOption,
    choose_scale,
)
from grader.cli.measure_report import show_measurement, show_summary
from grader.cli.output import as_json, err, out, show_error, write_whole
from grader.coverage.classical import ClassicalSegmenter
from grader.measure import Measurement, Request, measure
from grader.photo import load_photo
from grader.places import log_path, print_check_path
from grader.report import coverage_png, measurement_document, overlay_png
from grader.report.document import SCHEMA
from grader.report.words import STEP_WORDS
from grader.units import parse_length_mm

if TYPE_CHECKING:
    from grader.learn import Newest


def measure_command(
    photos: Annotated[list[Path], typer.Argument(help="Photos: JPEG, PNG, WebP, TIFF or HEIC.", show_default=False)],
    target: TargetOption = None,
    length: LengthOption = None,
    start: StartOption = None,
    end: EndOption = None,
    rectangle: RectangleOption = None,
    corners: CornersOption = None,
    pitch: PitchOption = None,
    no_scale: Annotated[bool, typer.Option("--no-scale", help="Do without: shares of the frame only.")] = False,
    board_thickness: ThicknessOption = None,
    segmenter: Annotated[
        Literal["learned", "classical"], typer.Option(help="What finds the plating; the classical one is to compare.")
    ] = "learned",
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the measurement here (- prints it).")] = None,
    coverage: Annotated[Path | None, typer.Option(help="Write the coverage as a grey PNG.")] = None,
    overlay: Annotated[Path | None, typer.Option(help="Write the photo with the plating coloured, PNG.")] = None,
    part: Annotated[str, typer.Option(help="Kind of boards, as in the log: what its yields taught is used.")] = "",
    seller: Annotated[str, typer.Option(help="Who sells them, as in the log.")] = "",
    published: Annotated[
        bool, typer.Option("--published", help="Published thickness, not what the log's yields taught.")
    ] = False,
    log: Annotated[str | None, typer.Option(help="The log to learn from; the usual one if left out.")] = None,
    calibration: Annotated[
        Path | None, typer.Option(help="File that keeps the check bar's length; the usual one if left out.")
    ] = None,
) -> None:
    """Measure plated area and gold in photos of boards.

    Without a scale option it looks for our own printed target (make one with: grader target --paper a4).

    Example: grader measure boards.jpg --overlay seen.png
    """
    choice = choose_scale(
        target=target,
        length=length,
        start=start,
        end=end,
        rectangle=rectangle,
        corners=corners,
        pitch=pitch,
        no_scale=no_scale,
    )
    if len(photos) > 1 and (coverage is not None or overlay is not None):
        raise UsageError(
            "one-picture-only", "--coverage and --overlay take one photo at a time.", "Measure the photos one by one."
        )
    _check_outputs(photos, [p for p in (json_out, coverage, overlay) if p is not None and str(p) != "-"])
    check = load_print_check(calibration if calibration is not None else print_check_path())
    learned = None if published else _learned(log)
    request = Request(
        properties=None if learned is None else learned.properties(part, seller),
        scale=choice,
        board_thickness_mm=parse_length_mm(board_thickness) if board_thickness is not None else None,
        print_factor=check.print_factor() if check is not None else None,
        segmenter=ClassicalSegmenter() if segmenter == "classical" else None,
    )
    if len(photos) == 1:
        try:
            done = _measure_one(photos[0], request)
        except PhotoError as error:
            show_error(error, photos[0].name)
            raise typer.Exit(error.exit_code) from error
        _write(done, json_out, coverage, overlay)
        if json_out is None or str(json_out) != "-":
            show_measurement(done)
            _say_learned(learned, part, seller)
        if done.refused is not None:
            show_error(done.refused, done.photo.name)
            raise typer.Exit(RefusedError.exit_code)
        return
    raise typer.Exit(_measure_many(photos, request, json_out))


def _learned(path: str | None) -> Newest | None:
    """What the log's yields teach. The usual log need not be there, nor be sound, for a photo to be measured."""
    if path is None and not log_path().is_file():
        return None
    from grader.learn.newest import newest_in
    from grader.log import open_log

    try:
        with open_log(path, must_exist=True) as log:
            return newest_in(log)
    except LogError as error:
        if path is not None:
            raise
        show_error(error, "published thickness is used")
        return None


def _say_learned(learned: Newest | None, part: str, seller: str) -> None:
    if learned is not None:
        from grader.learn.tables import belief_sentences

        for sentence in belief_sentences(learned):
            out.print(sentence, markup=False)
        for name in learned.never_weighed(part, seller):
            out.print(f"No yield of {name} yet: the range is that of any other.", markup=False)
        out.print("Gold is what your process recovers of it. With --published: published thickness, gold present.")


def _check_outputs(photos: list[Path], outputs: list[Path]) -> None:
    """Refuse what could not be written, or would overwrite a photo, before anything is written."""
    for path in outputs:
        check_place(path)
        if any(path.exists() and photo.exists() and path.samefile(photo) for photo in photos):
            raise UsageError(
                "output-is-photo", f"{path} is one of the photos.", "Choose another name for the result."
            )


def _measure_one(path: Path, request: Request) -> Measurement:
    photo = load_photo(path)
    with _progress() as say:
        return measure(photo, request, say)


def _write(done: Measurement, json_out: Path | None, coverage: Path | None, overlay: Path | None) -> None:
    if json_out is not None:
        data = as_json(measurement_document(done))
        if str(json_out) == "-":
            typer.echo(data.decode(), nl=False)
        else:
            write_whole(json_out, data)
    if coverage is not None:
        write_whole(coverage, coverage_png(done))
    if overlay is not None:
        write_whole(overlay, overlay_png(done))


def _measure_many(photos: list[Path], request: Request, json_out: Path | None) -> int:
    """Measure one after another, going on after a bad one; returns the exit code of the worst."""
    documents: list[dict[str, Any]] = []
    rows: list[tuple[str, Measurement | GraderError]] = []
    code = 0
    for number, path in enumerate(photos, 1):
        if err.is_terminal:
            err.print(f"[dim]{number} of {len(photos)}[/] {path.name}")
        try:
            done = _measure_one(path, request)
        except PhotoError as error:
            reason = {"code": error.code, "message": error.message, "advice": error.advice}
            documents.append({"schema": SCHEMA, "photo": path.name, "error": reason, "warnings": [reason]})
            rows.append((path.name, error))
            code = error.exit_code
            continue
        documents.append(measurement_document(done))
        rows.append((path.name, done))
        if done.refused is not None:
            code = code or RefusedError.exit_code
    if json_out is not None:
        data = b"".join(as_json(d) for d in documents)
        if str(json_out) == "-":
            typer.echo(data.decode(), nl=False)
            return code
        write_whole(json_out, data)
    show_summary(rows)
    return code


@contextmanager
def _progress() -> Iterator[Any]:
    """What is being done, on a terminal only."""
    if not err.is_terminal:
        yield None
        return
    with err.status("reading the photo") as status:
        yield lambda step: status.update(STEP_WORDS[step])
