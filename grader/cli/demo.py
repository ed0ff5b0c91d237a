"""``grader demo``: the main job on the sample photos, from pictures to the most to pay."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer
from rich.markup import escape

from calibration.errors import UsageError
from calibration.files import advice_for
from grader.api import measure, value
from grader.cli.measure_report import show_measurement
from grader.cli.output import err, json_line, out, write_whole
from grader.cli.value_report import show_offer
from grader.measured_photo import MeasuredPhoto
from grader.report import overlay_png
from grader.samples import load_demo
from grader.valuation import load_assumptions


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
    for_sale: list[MeasuredPhoto] = []
    for number, sample in enumerate(story.samples, 1):
        if err.is_terminal:
            err.print(f"[dim]photo {number} of {len(story.samples)}[/]")
        started = time.monotonic()
        done = measure(sample.path, request=sample.request)
        seconds = time.monotonic() - started
        done.save(output / f"{sample.path.stem}.json")
        picture = output / f"{sample.path.stem}-overlay.png"
        write_whole(picture, overlay_png(done.measurement))
        out.rule(escape(sample.title))
        show_measurement(done.record)
        out.print(f"Overlay: {picture} ({seconds:.1f} s)", markup=False)
        if sample.for_sale:
            for_sale.append(done)
    offer = value(
        for_sale,
        parts=story.parts,
        spot=story.spot,
        costs=story.costs,
        asking=story.asking,
        assumptions=load_assumptions(),
    )
    out.rule("What to pay")
    out.print(f"{story.story} Gold price, costs and shares are examples, not today's.", markup=False)
    show_offer(offer)
    write_whole(output / "offer.json", json_line(offer.as_json()))
    offer.save_report(output / "report.html", title="Sample lot")
    out.rule("Next")
    out.print(f"Pictures, measurements and a report (report.html) are in {output.resolve()}", markup=False)
    out.print("Open the page with:  grader page   (in a virtual environment: .venv/bin/grader page)", markup=False)
