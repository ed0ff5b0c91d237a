"""The commands of ``grader``: where each is, and its line in the list."""

from __future__ import annotations

from typing import ClassVar

from grader.cli.lazy import Command, LazyGroup


class Commands(LazyGroup):
    """All commands, in the order of the list."""

    known: ClassVar[dict[str, Command]] = {
        "demo": Command(
            "grader.cli.demo",
            "demo",
            "Measure and value the sample photos, write pictures, measurements and a report, and say where.",
        ),
        "target": Command(
            "grader.cli.target",
            "target",
            "Make the printable scale target, or store how long its 100 mm check bar was printed.",
        ),
        "measure": Command(
            "grader.cli.measure", "measure_command", "Measure plated area and gold in photos of boards."
        ),
        "listing": Command(
            "grader.cli.listing",
            "listing_command",
            "Read all pictures of one listing: which show the same boards, so that each counts once, by the best "
            "look at it.",
        ),
        "value": Command(
            "grader.cli.value",
            "value",
            "What to pay for the boards in some measurements: break-even, chance of a loss, highest price worth "
            "paying.",
        ),
        "market": Command(
            "grader.cli.market",
            "market",
            "Rank many listings: bid, asking price, expected profit, chance of a loss, what to ask, why refused.",
        ),
        "report": Command(
            "grader.cli.report",
            "report",
            "Write the report of a lot: photos, measurements, what makes them uncertain, offer, cut plan, batch, "
            "cautions.",
        ),
        "grade": Command(
            "grader.cli.grade",
            "grade",
            "Rank boards by what their gold is worth, and sort them: process, sell whole, or leave.",
        ),
        "cut": Command(
            "grader.cli.cut",
            "cut",
            "Plan straight cuts that keep the gold and throw the bare board away, so that the pieces fit the vessel.",
        ),
        "batch": Command(
            "grader.cli.batch",
            "batch",
            "Plan a batch: vessel loads, reagents, costs, time, waste and gas. It plans quantities; it is not a "
            "procedure.",
        ),
        "simulate": Command(
            "grader.cli.simulate",
            "simulate_command",
            "Offer invented lots with known truth, noisy photos and asking prices to buyers who decide in different "
            "ways.",
        ),
        "currency": Command(
            "grader.cli.currency",
            "currency",
            "Say once which currency you use and what others cost in it, or show what is kept.",
        ),
        "page": Command(
            "grader.cli.page",
            "page",
            "Open the page in the browser: measure a photo, value it, keep it in the log. Ctrl-C stops it.",
        ),
        "guide": Command(
            "grader.cli.guide",
            "guide",
            "Open the guide in the browser: buying, the bench, costs, ranges, refusals, every command. Ctrl-C stops "
            "it.",
        ),
        "log": Command(
            "grader.cli.log_tree", "log_app", "Keep lots: what was measured, what was paid, what came out."
        ),
    }
