"""The API: one of the two doors."""
