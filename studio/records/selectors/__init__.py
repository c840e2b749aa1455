"""Questions to the records. Nothing here writes or opens a transaction."""
