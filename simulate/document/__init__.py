"""The one document of a study, its answers in words, ranges, audit, money.

In come a house's year and outages; out goes what every screen, file and page shows. Sentences are made here only.
"""
