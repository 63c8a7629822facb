"""The drawing board: one page on which a design is changed and its hours and bills are seen at once.

A site comes in; a page, its fragments and, for the client, one file without a server go out. `state` is a design as
text, `figures` what is drawn in numbers, `board` the fragments, `guard` and `server` the page on this machine, `paper`
a design written down, `grid` and `sent` the file. Nothing is worked out here: every figure is that of a draft.
"""
