"""``grader demo``: the main job on the sample photos, from pictures to the most to pay."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.markup import escape

from calibration.errors import UsageError
from calibration.files import advice_for
from grader.cli.measure_report import show_measurement
from grader.cli.output import as_json, err, out, write_whole
from grader.cli.value_report import show_offer
from grader.lot import estimate_lot, lot_of
from grader.measured import Measured
from grader.model import Range
from grader.photo import load_photo
from grader.pipeline import measure
from grader.report import overlay_png
from grader.report.lot_html import lot_html
from grader.report.lot_report import LotReport, ReportedPhoto, reported_picture
from grader.samples import load_demo
from grader.units import parse_money
from grader.valuation import load_assumptions, value_lot, with_given


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
    photos: list[ReportedPhoto] = []
    for number, sample in enumerate(story.samples, 1):
        if err.is_terminal:
            err.print(f"[dim]photo {number} of {len(story.samples)}[/]")
        started = time.monotonic()
        done = measure(load_photo(sample.path), sample.request)
        seconds = time.monotonic() - started
        measured = Measured.of(done)
        write_whole(output / f"{sample.path.stem}.json", as_json(measured.to_dict()))
        picture = output / f"{sample.path.stem}-overlay.png"
        write_whole(picture, overlay_png(done))
        out.rule(escape(sample.title))
        show_measurement(measured)
        out.print(f"Overlay: {picture} ({seconds:.1f} s)", markup=False)
        if sample.for_sale:
            photos.append(ReportedPhoto(measured, reported_picture(measured, done.photo.rgb)))
    estimate = estimate_lot(lot_of(story.parts, [photo.measured for photo in photos]))
    today = datetime.now(UTC).date()
    assumptions = with_given(load_assumptions(), spot=story.spot, spot_date=today, costs=story.costs)
    offer = value_lot(
        estimate.gold_mg,
        assumptions,
        today=today,
        asking_price=parse_money(story.asking),
        mass_g=estimate.mass_g,
        notices=estimate.notices,
        lot=estimate.as_json(),
    )
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
