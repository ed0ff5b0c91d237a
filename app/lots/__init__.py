"""Lots in progress: their folders, the desk that a window works at, and what several windows change."""
