"""What people see: the terminal, figures, report and proposal, the page, and the files of `--out`.

In comes the document with the objects that it is made of; out goes text, SVG and HTML. Nothing is worked out here.
"""
