"""What an operator wants: targets by the price calendar, import caps, which circuits are switched over and when.

In come series, prices and pools; out go targets and whole circuits by step. No physics: the walk moves within it.
"""
