"""Reference simulator A: homes with an air-to-water heat pump, written from physics alone.

It shares no code with the product. `python -m tests.reference.plants_a --seeds 1:60 --out DIR` writes plants.

Compiled functions are cached by file: after a change to one that other files call, delete
`tests/reference/plants_a/__pycache__/*.nb*`, or the callers keep the old code.
"""
