"""What several screens show and ask."""
