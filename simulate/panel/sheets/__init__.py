"""The sheets of a job, from the one-line diagram to what stays with the client.

Lives here: a file for each sheet, `sheet` (one sheet as plain data, HTML and CSV), `page` (all to print), `sheets`.
Comes in: a `Layout`, findings, sentences with modelled hours.
Goes out: dicts of title, columns, rows, notes, svg, html. A cell that is not known is blank: nothing is guessed.
"""
