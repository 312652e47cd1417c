"""What design, weather and the measured drivers lead one to expect, with its uncertainty: one model a
file."""
