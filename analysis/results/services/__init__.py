"""Every write to the result rows."""
