"""What a site file may say: its nouns, the strict reader, the writer, the starter, the pools of a site.

In comes TOML; out goes a `Site`, every default in its place. Nothing is simulated here.
"""
