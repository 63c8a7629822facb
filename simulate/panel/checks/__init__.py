"""The checks of the panel: one finding at a time, no overall verdict.

Lives here: `layout` (the site with every leg resolved), `runs` (what runs between the panels), the tables of the Code
with how sure we are of each, and a file for each family of checks; `check` runs them all.
Comes in: a `Site`, and `Simulated` to be shown beside the figures, never as a verdict.
Goes out: `Finding`s with value, limit, margin and basis; section numbers by edition are put in last (`site.editions`).
"""
