"""Rows that hang on the records: jobs and analyses."""
