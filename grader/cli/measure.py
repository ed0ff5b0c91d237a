"""``grader measure``: photos in, plated area and gold out."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as ProgressBar

from calibration.errors import GraderError, PhotoError, RefusedError
from calibration.kinds import kind_named
from calibration.thickness import gold_properties
from grader.api import measure
from grader.cli.ask_gold import ask_about, check_one_photo
from grader.cli.learned import say_learned
from grader.cli.measure_report import show_measurement, show_summary, summary_row
from grader.cli.options import with_options
from grader.cli.output import err, is_stdout, show_error, write_json, write_whole
from grader.cli.photo_options import PhotoOptions
from grader.cli.photos import photo_files
from grader.cli.pictures import check_outputs, picture_in, pictures_of
from grader.correct.export import training_zip
from grader.measured import Measured
from grader.measured_photo import MeasuredPhoto
from grader.pipeline import PipelineStep, StepProgress
from grader.report import coverage_png, overlay_png
from grader.report.words import STEP_WORDS
from grader.request import Request


@with_options(PhotoOptions)
def measure_command(
    options: PhotoOptions,
    photos: Annotated[
        list[Path],
        typer.Argument(
            help="Photos (JPEG, PNG, WebP, TIFF or HEIC), folders of them, or patterns.", show_default=False
        ),
    ],
    no_scale: Annotated[
        bool, typer.Option("--no-scale", help="Measure without a scale: shares of the frame only.")
    ] = (False),
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the measurement here (- prints it).")] = None,
    coverage: Annotated[
        Path | None, typer.Option(help="Write the coverage as a grey PNG; for several photos, a folder.")
    ] = None,
    overlay: Annotated[
        Path | None,
        typer.Option(help="Write the photo with the plating coloured, PNG; for several photos, a folder."),
    ] = None,
    ask: Annotated[
        Path | None,
        typer.Option(
            help="Ask about places that may not be gold, and show them in this PNG. Answers are corrections."
        ),
    ] = None,
    training: Annotated[
        Path | None,
        typer.Option(
            help="Write the photo and its corrections here as training data (ZIP). Nothing is sent anywhere."
        ),
    ] = None,
    part: Annotated[str, typer.Option(help="Kind of boards, as in the log. What its yields taught is used.")] = "",
    seller: Annotated[str, typer.Option(help="Who sells them, as in the log.")] = "",
    kind: Annotated[
        str,
        typer.Option(help="What is held of their plating where no yield taught it: 'memory modules', 'do not know'."),
    ] = "",
) -> None:
    """Measure plated area and gold in photos of boards.

    Without a scale option it looks for our own printed target (make one with: grader target --paper a4), then for
    contacts of a published outline. A bad photo among several does not stop the others; a table at the end says what
    failed and why.

    Exit codes: 0 measured, 2 wrong use or not a photo, 3 a photo that cannot carry the measurement.

    Example: grader measure boards.jpg --overlay seen.png

    Example: grader measure shelf/ --json shelf.jsonl

    Example: grader measure boards.jpg --corrections boards-corrections.json

    Example: grader measure boards.jpg --ask places.png --json boards.json
    """
    request, learned = options.request(no_scale=no_scale), options.learned()
    files = photo_files(photos)
    pictures = pictures_of(files, {"coverage": coverage, "overlay": overlay})
    check_one_photo(len(files), is_asked=ask is not None or training is not None)
    more = [path for path in (ask, training) if path is not None]
    check_outputs(files, [*(() if json_out is None or is_stdout(json_out) else (json_out,)), *pictures, *more])
    by_hand = options.by_hand(files)
    published = gold_properties(kind=kind_named(kind)) if kind else None
    known = published if learned is None else learned.properties(part, seller, kind_named(kind))
    request = replace(request, properties=known)
    if len(files) > 1:
        raise typer.Exit(_measure_many(files, request, json_out, coverage, overlay))
    try:
        with _status() as say:
            done = measure(files[0], request=request, progress=say)
    except PhotoError as error:
        show_error(error, files[0].name)
        raise typer.Exit(error.exit_code) from error
    done = done.corrected(by_hand)
    if ask is not None:
        done = ask_about(done, ask)
    if training is not None:
        write_whole(training, training_zip(done.measurement))
    measured = done.record
    if json_out is not None:
        write_json(json_out, measured.to_dict())
    _write_pictures(done, coverage, overlay)
    if not is_stdout(json_out):
        show_measurement(measured)
        say_learned(learned, part, seller)
    refused = done.measurement.refused
    if refused is not None:
        show_error(refused, done.name)
        raise typer.Exit(RefusedError.exit_code)


def _write_pictures(done: MeasuredPhoto, coverage: Path | None, overlay: Path | None) -> None:
    if coverage is not None:
        write_whole(coverage, coverage_png(done.measurement))
    if overlay is not None:
        write_whole(overlay, overlay_png(done.measurement))


def _measure_many(
    files: Sequence[Path], request: Request, json_out: Path | None, coverage: Path | None, overlay: Path | None
) -> int:
    """Measure one after another, going on after a bad one; returns the exit code of the worst.

    Only records are kept: some photos as arrays would fill the memory.
    """
    found: list[Measured] = []
    failed: list[tuple[str, GraderError]] = []
    code = 0
    with _steps(len(files)) as started:
        for path in files:
            try:
                done = measure(path, request=request, progress=started(path.name))
            except PhotoError as error:
                found.append(Measured.failed(path.name, error))
                failed.append((path.name, error))
                code = error.exit_code
                continue
            found.append(done.record)
            _write_pictures(
                done,
                None if coverage is None else picture_in(coverage, path, "coverage"),
                None if overlay is None else picture_in(overlay, path, "overlay"),
            )
            refused = done.measurement.refused
            if refused is not None:
                failed.append((path.name, refused))
                code = code or RefusedError.exit_code
    if json_out is not None:
        write_json(json_out, *(m.to_dict() for m in found))
    if not is_stdout(json_out):
        show_summary([summary_row(m) for m in found], failed)
    return code


@contextmanager
def _status() -> Iterator[StepProgress | None]:
    """What is being done with the one photo, on a terminal only."""
    if not err.is_terminal:
        yield None
        return
    with err.status("reading the photo") as status:
        yield lambda step: status.update(STEP_WORDS[step])


@contextmanager
def _steps(count: int) -> Iterator[Callable[[str], StepProgress | None]]:
    """A bar with the time left over many photos, on a terminal only; what is yielded starts a photo."""
    if not err.is_terminal:
        yield lambda _: None
        return
    steps = tuple(STEP_WORDS)
    columns = (
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        TextColumn("{task.description}", markup=False),
    )
    with ProgressBar(*columns, console=err, transient=True) as bar:
        task = bar.add_task("", total=count)
        begun = itertools.count()

        def start(name: str) -> StepProgress:
            number = next(begun)
            bar.update(task, completed=number, description=f"{name}: reading the photo")

            def say(step: PipelineStep) -> None:
                done = number + steps.index(step) / len(steps)
                bar.update(task, completed=done, description=f"{name}: {STEP_WORDS[step]}")

            return say

        yield start
