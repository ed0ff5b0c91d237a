"""Reports of a measurement: the JSON document, the overlay, the coverage picture."""

from grader.report.overlay import coverage_png, overlay_png

__all__ = ["coverage_png", "overlay_png"]
