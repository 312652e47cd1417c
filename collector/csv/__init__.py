"""Import CSV exports into the store."""

from fieldfare.collector.csv.ingest import Ingested, Progress, ingest_csv

__all__ = ["Ingested", "Progress", "ingest_csv"]
