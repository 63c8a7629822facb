"""The panel: what must be checked before a wire is cut, which leg each circuit goes on, and the crew's sheets.

Lives here: `checks/` (findings), `legs/` (the balance), `sheets/` (what is printed and carried to the job).
Comes in: a `Site`, and beside it what only the simulation knows (`Simulated`).
Goes out: findings, an assignment of legs, sheets as plain data, CSV, SVG and HTML. Nothing here runs a year.
"""
