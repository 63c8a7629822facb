"""Every outage of a year at once, by sums and searches in the place of a walk from each start.

In comes an `Island` (what the pools meet) and the charge at each start; out go the first dark moments and why. Where
only the walk knows, the walk is taken.
"""
