"""The page: it shows and edits, and computes nothing."""
