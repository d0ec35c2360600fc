"""Families of cases for `underlid score`: what happens to a drawn bin. `catalogue.py` lists them."""
