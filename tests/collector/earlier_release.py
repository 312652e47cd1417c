"""Files as earlier releases wrote them."""

from __future__ import annotations

from fieldfare.collector.store.checksums import footer_start, read_checksums


def without_checksums(file: bytes) -> bytes:
    """A sealed month without its checksums."""
    data = memoryview(file)
    sums = read_checksums(data)
    assert sums is not None
    return bytes(data[: sums.ends[-1]]) + bytes(data[footer_start(data) :])
