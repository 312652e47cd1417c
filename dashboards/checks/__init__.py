"""The winter check as people read it: verdicts in words, and what needs hands and eyes."""
