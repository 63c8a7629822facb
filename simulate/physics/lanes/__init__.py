"""One year of many designs side by side: series read once, lanes in a block that fits the first-level cache.

In come a `Track` (what all meet) and `Lanes` (what they differ in); out go sums by design. Lanes hold their numbers in
one buffer: arrays apart would cost the compiler its vector instructions.
"""
