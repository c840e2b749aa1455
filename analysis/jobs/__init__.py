"""Records to core terms, and the machine that runs jobs."""
