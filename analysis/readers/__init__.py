"""Files become channels here: one file per format, one vocabulary (`channels.py`). No Django."""
