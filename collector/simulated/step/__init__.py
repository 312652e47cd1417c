"""A plant in steps of ten seconds, compiled by numba."""

from fieldfare.collector.simulated import require_numba

require_numba()
