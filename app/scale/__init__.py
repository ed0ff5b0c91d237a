"""Questions about a photo's scale."""
