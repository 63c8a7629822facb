"""The report (evidence) and the proposal (two pages for the client) as single HTML files."""
