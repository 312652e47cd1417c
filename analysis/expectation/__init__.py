"""What physics and the design lead one to expect, with an uncertainty: one phenomenon a file, pure
functions."""
