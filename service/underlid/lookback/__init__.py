"""Spells: stretches of time in which one condition held."""
