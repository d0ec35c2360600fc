"""What is known of a bin: its set-up, its window of readings, its lid, heat and drying."""
