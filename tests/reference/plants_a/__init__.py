"""Reference simulator A: homes with an air-to-water heat pump, written from physics alone.

It shares no code with the product. `python -m tests.reference.plants_a --seeds 1:60 --out DIR` writes plants.
"""
