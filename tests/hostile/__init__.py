"""Input from strangers and from bad days: it is refused in one line, quickly, and nothing is left behind."""
