"""Damaged input of every kind: ``python -m tests.fuzz --help``."""
