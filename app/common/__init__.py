"""Elements shared by several screens."""
