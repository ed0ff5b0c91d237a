"""Photos into a lot and onto the screen: added, measured at once, shown with what was found."""
