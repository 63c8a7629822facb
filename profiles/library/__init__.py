"""Data that come along: shapes, appliances, rates, units, panels, the demo and the starter site; see SOURCES.md."""
