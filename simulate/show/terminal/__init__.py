"""What the command prints: the answer first, then one table, then what to do next."""
