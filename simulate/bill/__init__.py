"""Energy at the meter times a rate: bills as lines that add up, steps from today's bill, replay, cash flow, ageing.

In come import, export and a rate; out go amounts of money. No file here knows a house.
"""
