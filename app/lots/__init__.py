"""Lots in progress: their folders, the window's desk, changes by several windows, and the way through the page."""
