"""The pages: one of the two doors."""
