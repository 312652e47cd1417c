"""Independent reference simulators and the judge that scores the product on their plants."""
