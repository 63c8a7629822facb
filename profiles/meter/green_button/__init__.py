"""Green Button (NAESB ESPI) XML: the feed, its links, the readings that it offers.

In comes a feed; out goes a `Meter`. What is open (several points, several readings of one energy) is asked.
"""
