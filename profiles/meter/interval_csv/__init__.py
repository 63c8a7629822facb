"""Interval files in text: columns, stamps, units and registers, judged on samples and whole columns.

In comes a text table of any dialect; out goes a `Meter`. What the file leaves open is asked in one message.
"""
