"""A physical bin with sensors, for the demo and for tests."""
