"""The Python interface: measure a photo, value a lot, read a measurement. ``docs/python.md`` shows it at work.

Sizes, masses, prices and shares are given as text ("133.35 mm", "5 kg", "2650 USD/ozt", "8..15 USD").
"""

from grader.api.kept import load_measurement
from grader.api.listings import read_listing
from grader.api.measuring import measure
from grader.api.valuing import value

__all__ = ["load_measurement", "measure", "read_listing", "value"]
