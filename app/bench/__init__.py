"""The boards on the bench: cuts and the batch."""
