"""The facts: riders, bikes, setups, sessions, runs, recordings. Services write, selectors read."""
