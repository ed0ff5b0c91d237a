"""The page: shows and edits; computes nothing."""
