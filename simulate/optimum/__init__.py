"""What is best: the exact optimum of one pool, programmes for the rest, forecasts, the least expected cost.

In come series, prices and pools; out go targets, costs and bounds. The equations of a battery stand here a second time,
since a linear programme is made of them; tests hold them against `physics.step`.
"""
