"""Settings of the firm and of its people."""
