"""The physics and the inference: plain numpy and scipy, no Django, no files, no clock."""
