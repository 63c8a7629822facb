"""The physics, once: `step` holds every change of stored energy, the walks lay it along a year and an outage.

In come arrays and pools as numbers; out go states, flows and hours. `outages` finds the end of every outage by shorter
routes than a walk from each start, `lanes` walks many designs side by side; both call `step`. No file of this room, nor
of `optimum` and `plans`, ever sees a site.
"""
