"""Papers: the householder's month, the winter check and the hand-over review, as HTML, PDF and JSON."""

from fieldfare.dashboards.day_rows import day_rows
from fieldfare.dashboards.papers.pdf import NoPdf
from fieldfare.dashboards.papers.write import paper_html, paper_pdf, write

__all__ = ["NoPdf", "day_rows", "paper_html", "paper_pdf", "write"]
