"""Asking for a photo's scale."""
