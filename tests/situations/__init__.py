"""Situations: plants with known truth, with required and forbidden findings.

A module of this package lists its own in `SITUATIONS`; `case.py` has the form, `house.py` a small house to
make readings
with. `python -m tests.situations` prints the table; `test_situations.py` runs those that are not slow.
"""
