"""Weather files on our hour axis: temperature and irradiance, the sun's position, checks, hard days.

In come TMY3, TMY2, EPW, NSRDB and other files; out go series on the axis of the year that is simulated. The sun's place
comes from the weather file's own place and clock.
"""
