"""The offer for a lot as notebook users see it, and the valuation steps shared by all front ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calibration.errors import UsageError
from calibration.files import write_whole
from calibration.target import Paper
from grader.bid import PlansOfPhotos, WorkBench, bid_for
from grader.figures import Figure, data_frame
from grader.lot import LotEstimate
from grader.measured_photo import MeasuredPhoto
from grader.places import assumptions_folder
from grader.report.blocks import Block, Text
from grader.report.blocks_html import blocks_html
from grader.report.offer_blocks import offer_blocks
from grader.units import AskingPrice, parse_asking_price
from grader.units.estimates import named
from grader.valuation import Assumptions, Offer, SaleTexts, load_set, with_given
from grader.valuation.postage import with_postage
from grader.valuation.words import break_even_words, highest_words

if TYPE_CHECKING:
    import altair as alt


@dataclass(frozen=True, repr=False)
class LotOffer(Offer):
    """An offer with tables and plots, made by ``grader.value``.

    It has everything in ``grader.valuation.Offer``: ``highest_price``, ``break_even``, ``routes``, ``questions``,
    ``notices`` and so on.

    Attributes:
        estimate: of the lot: gold, mass and boards, part by part.
        photos: the measured photos; empty if only the lot is known.

    Examples:
        >>> import grader
        >>> from grader.samples import samples_folder
        >>> done = grader.measure(samples_folder() / "memory-modules.jpg")
        >>> offer = grader.value(done, boards=4, count=400, spot="2650 USD/ozt", asking="60 USD")
        >>> offer
        <LotOffer highest price ... USD, break-even ... USD; gold ... (...)>
        >>> [row["title"] for row in offer.rows()]
        ['strip and refine', ..., 'do not buy']
        >>> offer.to_dict()["currency"]
        'USD'
    """

    estimate: LotEstimate = field(kw_only=True, compare=False)
    photos: tuple[MeasuredPhoto, ...] = field(default=(), kw_only=True, compare=False)

    @staticmethod
    def of(offer: Offer, estimate: LotEstimate) -> LotOffer:
        """Combine an offer with its estimate."""
        return LotOffer(**{f.name: getattr(offer, f.name) for f in fields(Offer)}, estimate=estimate)

    @property
    def gold(self) -> Figure:
        """Gold in the visible plating of the lot, mg."""
        return Figure.of(self.gold_mg, "mg")

    def rows(self) -> list[dict[str, Any]]:
        """One row for each way to deal with the lot, as from ``RouteOutcome.as_json``."""
        return [route.as_json() for route in self.routes]

    def to_frame(self) -> Any:
        """The rows as a pandas DataFrame.

        Raises:
            UsageError: ``pandas-missing``.
        """
        return data_frame(self.rows())

    def to_dict(self) -> dict[str, Any]:
        """The offer as the JSON document used by the command line and the log."""
        return self.as_json()

    def save_report(self, path: str | Path, title: str = "Lot of boards", paper: Paper = "a4") -> None:
        """Write the lot's report: photos, figures, offer, cautions.

        Args:
            path: of the file; its extension sets the format: ``.pdf``, ``.html``, ``.csv`` or ``.json``.
            title: of the report.
            paper: of a PDF, "a4" or "letter".

        Raises:
            UsageError: ``report-kind-unknown``, ``cannot-write``.
        """
        from grader.report.lot_files import REPORT_KINDS, report_file
        from grader.report.lot_report import LotReport

        found = [kind for kind in REPORT_KINDS if Path(path).suffix.lower() == f".{kind}"]
        if not found:
            raise UsageError(
                "report-kind-unknown",
                f"A report cannot be written as '{Path(path).suffix}'.",
                f"Let the file's name end in {', '.join(f'.{kind}' for kind in REPORT_KINDS)}.",
            )
        photos = tuple(photo.reported() for photo in self.photos)
        report = LotReport.of_estimate(title, photos, self.estimate, offer=self)
        write_whole(Path(path), report_file(report, found[0], paper))

    def plot(self) -> alt.LayerChart:
        """Plot profit against price, with the band that contains nine cases out of ten."""
        from grader.report.charts import profit_chart

        return profit_chart(self)

    def plot_swings(self) -> alt.LayerChart | None:
        """Plot how much each uncertain input changes the profit; None if none does."""
        from grader.report.charts import swing_chart

        return swing_chart(self)

    def __repr__(self) -> str:
        return (
            f"<LotOffer highest price {highest_words(self)}, break-even {break_even_words(self)}; gold {self.gold}>"
        )

    def _repr_html_(self) -> str:
        """HTML for Jupyter: the contents of a report, always with the cautions."""
        return blocks_html(self._blocks())

    def _blocks(self) -> Iterator[Block]:
        yield from offer_blocks(self)
        yield from map(Text, self.statements)


def typed_assumptions(
    assumptions: Assumptions | str | Path | None = None,
    *,
    trim_price: str | None = None,
    trim_share: str | None = None,
    whole_price: str | None = None,
    bodies_price: str | None = None,
    costs: Sequence[str] | None = None,
    spot_date: date | None = None,
    postage: str | None = None,
    **typed: str | None,
) -> Assumptions:
    """Assumptions with some figures replaced by typed ones.

    Args:
        assumptions: loaded, a file, or the name of the user's own set; None for the shipped examples.
        trim_price: price of trimmed pieces by weight, "40..90 USD/kg".
        trim_share: share of the boards' mass that is trimmed off, "4..8..15 %".
        whole_price: price of whole boards by weight, "5..9 USD/kg".
        bodies_price: price of trimmed boards by weight, "1..3 USD/kg".
        costs: as for ``with_given``.
        spot_date: of the gold price.
        postage: cost of having the lot sent, "12 USD"; replaces only that cost.
        typed: further entries, as for ``with_given``.

    Raises:
        UsageError: as ``load_set``, ``with_given`` and ``with_postage``.
    """
    base = assumptions
    if not isinstance(base, Assumptions):
        base = load_set(None if base is None else str(base), assumptions_folder())
    sales = {
        "trim": SaleTexts(trim_price, trim_share),
        "whole": SaleTexts(whole_price),
        "bodies": SaleTexts(bodies_price),
    }
    given = {name: texts for name, texts in sales.items() if texts != SaleTexts()}
    made = with_given(base, spot_date=spot_date, costs=costs or None, sales=given or None, **typed)
    return made if postage is None else with_postage(made, postage)


def asking_price(text: str | None) -> AskingPrice | None:
    """Read a seller's asking price; None if none was given.

    Raises:
        UsageError: it cannot be read.
    """
    return None if text is None else named("asking price", parse_asking_price, text)


def offer_for(
    estimate: LotEstimate,
    figures: Assumptions,
    asking: AskingPrice | None = None,
    bench: WorkBench | None = None,
    cuts: PlansOfPhotos | None = None,
) -> LotOffer:
    """What to pay today for an estimated lot; without a bench, uses the shipped example.

    Cuts are plans of boards in the photos, if there are any.

    Raises:
        UsageError: as ``value_lot``.
    """
    offer = bid_for(estimate, figures, today=date.today(), asking=asking, bench=bench, cuts=cuts)
    return LotOffer.of(offer, estimate)
