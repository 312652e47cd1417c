"""Values kept at commissioning beside what the readings say today."""
