"""The drawing board: one page on this machine on which a design is changed and its hours and bills are seen at once."""
