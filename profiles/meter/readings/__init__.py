"""Readings of a meter as such: stamps and clocks, order and repeats, registers, quality codes, privacy.

In come readings of any file; out go readings in UTC with their quality, and issues with counts and places. Both readers
(Green Button, interval CSV) rest on this room.
"""
