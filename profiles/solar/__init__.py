"""What a roof gives: from weather by the roof's own data, or from an inverter's log.

In come weather series or a log; out go AC (or DC) kW on the hour axis, before any load or battery sees it.
"""
