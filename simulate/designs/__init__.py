"""Many designs: compared, chosen, found, swept; one row by which they stand beside one another.

In come a site and what varies; out go rows and frames. Each design is a study, a draft that keeps what did not change,
or a lane.
"""
