"""The handbook: how each finding and each figure is worked out, for the service's pages and the docs."""
