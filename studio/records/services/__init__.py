"""Every write to the records, a file per subject. All are keyword-only, check first and note an event."""
