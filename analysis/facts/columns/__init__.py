"""Schema of the days table: every column with its unit, meaning and source."""

from fieldfare.analysis.facts.columns.schema import COLUMNS, absent_value, carried, column_of

__all__ = ["COLUMNS", "absent_value", "carried", "column_of"]
