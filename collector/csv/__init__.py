"""CSV exports into the store."""

from collector.csv.ingest import Ingested, Progress, ingest_csv

__all__ = ["Ingested", "Progress", "ingest_csv"]
