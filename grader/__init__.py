"""From a photo of circuit boards to the most to pay for them."""

__version__ = "0.2.0"
