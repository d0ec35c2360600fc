"""The life of an alert, whom to tell when, and the sentence."""
