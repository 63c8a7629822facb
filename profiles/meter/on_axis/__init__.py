"""A meter on the hour axis of a year: gaps, other years, quality sheets, days.

In comes a `Meter`; out go kW per step of the year that is simulated, with what was filled in said in words.
"""
