"""Independent reference plants: homes with heat pumps, simulated by state machines and physics.

The package writes folders with a site file, the readings of that home's meters and the truth. It uses
nothing of the code that it judges.
"""
