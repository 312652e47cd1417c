"""The handbook: how each finding and figure is computed, for the service's pages and the docs."""
