"""Reports of a measurement: the JSON document, the overlay, the coverage picture."""

from grader.report.document import measurement_document
from grader.report.overlay import coverage_png, overlay_png

__all__ = ["coverage_png", "measurement_document", "overlay_png"]
