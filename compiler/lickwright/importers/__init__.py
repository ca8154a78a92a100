"""Other formats read into the notation."""
