"""``grader report``: a lot's report on paper, as a page, as data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from calibration.errors import DataFileError, PhotoError, UsageError
from calibration.files import check_place, is_file
from calibration.reading import as_written, sha256_of
from calibration.target import Paper
from grader.cli.listing_text import with_listing
from grader.cli.log_options import LogOption
from grader.cli.options import with_options
from grader.cli.output import is_stdout, out, write_json, write_whole
from grader.cli.photos import photo_files
from grader.cli.value_options import LotOption, MeasurementsArgument, ValueOptions, measured_in
from grader.lot import estimate_lot
from grader.measured import Measured, documents_in
from grader.photo import load_photo
from grader.report.batch_blocks import batch_blocks
from grader.report.blocks import Picture
from grader.report.lot_files import ReportKind, report_file
from grader.report.lot_report import LotReport, ReportedCuts, ReportedPhoto, reported_cut_picture, reported_picture


@with_options(ValueOptions)
def report(
    options: ValueOptions,
    measurements: MeasurementsArgument = None,
    lot: LotOption = None,
    log: LogOption = None,
    photos: Annotated[
        list[Path] | None,
        typer.Option(help="The photos, folders of them, or patterns. Default: those beside the measurements."),
    ] = None,
    cuts: Annotated[list[Path] | None, typer.Option(help="A cut plan that grader cut --json wrote.")] = None,
    cut_picture: Annotated[
        list[Path] | None, typer.Option(help="Its picture (grader cut --overlay); once for each photo of the plans.")
    ] = None,
    batch: Annotated[Path | None, typer.Option(help="A batch plan that grader batch --json wrote.")] = None,
    title: Annotated[str | None, typer.Option(help="Title. Default: the lot's name.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Write the report for paper.")] = None,
    html: Annotated[Path | None, typer.Option(help="Write the report as one HTML file.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write its figures as a table.")] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write it as JSON (- prints it).")] = None,
    paper: Annotated[Paper, typer.Option(help="Paper of the PDF.")] = "a4",
) -> None:
    """Write the report of a lot: photos, measurements, what makes them uncertain, offer, cut plan, batch, cautions.

    The lot is described as for grader value; without a gold price the report makes no offer.

    Example: grader report boards.json --spot "2650 USD/ozt" --pdf report.pdf --html report.html

    Example: grader report boards.json --photos . --cuts plan.json --cut-picture cuts.png --batch batch.json
    """
    places = {"pdf": pdf, "html": html, "csv": csv, "json": json_out}
    for path in places.values():
        if path is not None and not is_stdout(path):
            check_place(path)
    options = with_listing(options)
    figures = options.figures()
    measured = measured_in(measurements or [], lot, log)
    estimate = estimate_lot(options.lot(measured))
    pictures = _photos_by_sha(_candidates(photos, measurements or [], measured))
    made = LotReport.of_estimate(
        title or lot or "Lot of boards",
        tuple(ReportedPhoto(m, _picture(m, pictures)) for m in measured),
        estimate,
        offer=options.offer(estimate, figures, measured, cuts or ()) if figures.spot is not None else None,
        cuts=_cuts(cuts or [], cut_picture or []),
        batch=_batch(batch) if batch is not None else None,
    )
    _write(made, places, paper)


def _write(made: LotReport, places: Mapping[str, Path | None], paper: Paper) -> None:
    if not any(places.values()):
        places = {**places, "pdf": Path("report.pdf")}
    kinds: tuple[ReportKind, ...] = ("pdf", "html", "csv")
    for kind in kinds:
        if (path := places[kind]) is not None:
            write_whole(path, report_file(made, kind, paper))
    if (path := places["json"]) is not None:
        write_json(path, made.as_json())
    if is_stdout(places["json"]):
        return
    for path in places.values():
        if path is not None:
            out.print(f"Wrote {path}", markup=False)
    missing = [p.measured.photo for p in made.photos if p.picture is None]
    if missing:
        out.print(
            f"Without their pictures: {', '.join(missing)}. Say where the photos are with --photos.", markup=False
        )
    if made.offer is None:
        out.print("Without an offer: give a gold price with --spot.", markup=False)


def _candidates(
    photos: Sequence[Path] | None, measurements: Sequence[Path], measured: Iterable[Measured]
) -> list[Path]:
    """Files that may be the photos: those given, otherwise files next to the measurements with the photos' names."""
    if photos:
        return photo_files(photos)
    names = {Path(m.photo).name for m in measured}
    folders = dict.fromkeys(path.parent for path in measurements)
    return [folder / name for folder in folders for name in sorted(names) if is_file(folder / name)]


def _photos_by_sha(paths: Iterable[Path]) -> dict[str, Path]:
    """Files by the sha256 of their bytes: a photo's name proves nothing."""
    found: dict[str, Path] = {}
    for path in paths:
        try:
            found[sha256_of(path)] = path
        except (OSError, ValueError) as error:
            why = error.strerror if isinstance(error, OSError) else "the name is not allowed"
            raise PhotoError("photo-unreadable", f"{path} cannot be read ({why}).", "Check the path.") from error
    return found


def _picture(measured: Measured, photos: Mapping[str, Path]) -> Picture | None:
    path = photos.get(measured.sha256)
    return None if path is None else reported_picture(measured, load_photo(path).rgb)


def _cuts(plans: Sequence[Path], pictures: Sequence[Path]) -> tuple[ReportedCuts, ...]:
    """Cut plans with their pictures, in order.

    Raises:
        UsageError: ``cut-pictures-count``.
        DataFileError: ``cut-plan-invalid``, or as ``documents_in``.
    """
    documents = [(path, document) for path in plans for document in documents_in(path)]
    if pictures and len(pictures) != len(documents):
        raise UsageError(
            "cut-pictures-count",
            f"There are {len(pictures)} pictures of cuts for {len(documents)} photos in the plans.",
            "Give --cut-picture once for each, in the same order.",
        )
    for path, document in documents:
        if document.get("schema") != 1 or not isinstance(document.get("boards"), list) or "scale" in document:
            raise DataFileError(
                "cut-plan-invalid",
                f"{path.name}: this is not a cut plan.",
                "Make it with: grader cut PHOTO --json FILE.",
            )
    drawn: list[Picture | None] = [*map(_cut_picture, pictures)] or [None] * len(documents)
    return tuple(ReportedCuts(document, picture) for (_, document), picture in zip(documents, drawn, strict=True))


def _batch(path: Path) -> Mapping[str, Any]:
    """A batch plan.

    Raises:
        DataFileError: ``batch-plan-invalid``, or as ``documents_in``.
    """
    documents = documents_in(path)
    no_plan = DataFileError(
        "batch-plan-invalid",
        f"{path.name}: this is not a batch plan.",
        "Make it with: grader batch FILES --json FILE.",
    )
    if len(documents) != 1 or documents[0].get("schema") != 1:
        raise no_plan
    with as_written(no_plan):
        tuple(batch_blocks(documents[0]))
    return documents[0]


def _cut_picture(path: Path) -> Picture:
    return reported_cut_picture(load_photo(path).rgb)
