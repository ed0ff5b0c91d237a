"""``grader demo``: the main job on the sample photos, from pictures to the most to pay."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.markup import escape

from calibration.errors import UsageError
from calibration.files import advice_for
from grader.bid import bid_for
from grader.cli.measure_report import show_measurement
from grader.cli.output import as_json, err, out, write_whole
from grader.cli.value_report import show_offer
from grader.lot import estimate_lot, lot_of
from grader.model import Range
from grader.photo import load_photo
from grader.pipeline import measure
from grader.report import measurement_document, overlay_png
from grader.report.lot_html import lot_html
from grader.report.lot_report import LotReport, ReportedPhoto, reported_picture
from grader.samples import load_demo
from grader.units import parse_asking_price
from grader.valuation import load_assumptions, measurements_of, with_given


def demo(
    output: Annotated[Path, typer.Option(help="Folder for the pictures and the measurements.")] = Path("demo-output"),
) -> None:
    """Measure and value the sample photos, write pictures, measurements and a report, and say where.

    Example: grader demo
    """
    story = load_demo()
    try:
        output.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            "cannot-write",
            f"The folder {output} cannot be made ({error.strerror}).",
            advice_for(error, "Choose another with --output."),
        ) from error
    for_sale: list[tuple[str, dict[str, Any]]] = []
    photos: list[ReportedPhoto] = []
    for number, sample in enumerate(story.samples, 1):
        if err.is_terminal:
            err.print(f"[dim]photo {number} of {len(story.samples)}[/]")
        started = time.monotonic()
        done = measure(load_photo(sample.path), sample.request)
        seconds = time.monotonic() - started
        document = measurement_document(done)
        write_whole(output / f"{sample.path.stem}.json", as_json(document))
        picture = output / f"{sample.path.stem}-overlay.png"
        write_whole(picture, overlay_png(done))
        out.rule(escape(sample.title))
        show_measurement(document)
        out.print(f"Overlay: {picture} ({seconds:.1f} s)", markup=False)
        if sample.for_sale:
            for_sale.append((sample.path.name, document))
            photos.append(ReportedPhoto(document, reported_picture(document, done.photo.rgb)))
    measured = measurements_of(for_sale)
    estimate = estimate_lot(lot_of(story.parts, measured))
    today = datetime.now(UTC).date()
    assumptions = with_given(load_assumptions(), spot=story.spot, spot_date=today, costs=story.costs)
    offer = bid_for(estimate, assumptions, today=today, asking=parse_asking_price(story.asking))
    out.rule("What to pay")
    out.print(f"{story.story} Gold price, costs and shares are examples, not today's.", markup=False)
    show_offer(offer)
    write_whole(output / "offer.json", as_json(offer.as_json()))
    report = LotReport(
        "Sample lot", today, tuple(photos), Range.of(estimate.gold_mg.draws()), estimate.as_json(), offer
    )
    write_whole(output / "report.html", lot_html(report).encode())
    out.rule("Next")
    out.print(f"Pictures, measurements and a report (report.html) are in {output.resolve()}", markup=False)
    out.print("Open the page with:  grader page   (in a virtual environment: .venv/bin/grader page)", markup=False)
