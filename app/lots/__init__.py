"""Lots in progress: their folders, the window's desk, what several windows change, and the way through."""
