"""Grams, millilitres and days, each with its working."""
