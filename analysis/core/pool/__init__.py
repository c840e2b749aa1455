"""What tested fastest, over all riders: arms of studies pooled into standings of products.

Imports nothing, so that a table of arms is read without what only the figures need.
"""
