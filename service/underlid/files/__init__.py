"""Set-up, readings, journal and verdict files."""
