"""Expected values from design, weather and measured drivers, with uncertainty; one model per file."""
