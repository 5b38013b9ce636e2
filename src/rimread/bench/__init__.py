"""The bench: a page in the browser for a person at the scope."""
