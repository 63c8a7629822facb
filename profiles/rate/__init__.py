"""What energy costs: a rate as its tariff sheet says it, the calendar of its periods, prices by step, public records.

In come rate files and tables; out go prices per step, demand blocks and what a meter is summed into for a bill. Bills
themselves are added up in `simulate/bill`.
"""
