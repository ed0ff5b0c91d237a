"""The screen that shows each board of a lot's photos once, and its correction."""
