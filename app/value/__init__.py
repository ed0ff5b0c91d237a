"""The price of a lot."""
