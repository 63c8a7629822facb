"""A literal twin of the whole job in plain Python: it shares no code with the product and is slow on purpose."""
