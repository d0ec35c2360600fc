"""The water on one lid: what it may be like, hour by hour, under many guesses at once."""
