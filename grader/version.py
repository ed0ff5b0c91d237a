"""The version, in one place: the package, the command line, records and the wheel read it here."""

__version__ = "0.2.0"
