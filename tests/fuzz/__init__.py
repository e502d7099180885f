"""Hostile files, kills and crowds: seeded and bounded, run outside the test command.

`python -m tests.fuzz --help` lists what there is. Every attack is told by a kind and a number:
the same number makes the same files again. `test_short_pass.py` runs a few of each in the tests.
"""
