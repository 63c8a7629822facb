"""The drawing board: a page on this machine on which a design is changed and its answers move."""
