"""The first screen."""
