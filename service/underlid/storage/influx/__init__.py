"""Readings in InfluxDB: a local file takes them first, a drain sends them on, queries read them back.

Begin with `readings.py`. `server.py` is the only file that speaks HTTP, `names.py` says how things
are called there, `buffer.py` is the local file, `drain.py` empties it.
"""
