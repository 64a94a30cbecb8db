"""From logged data to a defended number: the in-room heat balance of a room air conditioner.

Pure: no web framework, no global state, no file access beyond `reduction.readers`. Data flows one way:
read, align, windows, balance, uncertainty, point, compare.
"""
