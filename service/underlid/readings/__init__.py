"""Bytes -> readings. Start with `decode.py`; the values that come out are in `values.py`."""
