"""How good the estimator is on simulated sessions whose truth is known, and how good it could be at all.

The bound, the error by hand and the table share no code with the estimator. Processes, files and the clock
belong to the command (`analysis/yardstick.py`).
"""
