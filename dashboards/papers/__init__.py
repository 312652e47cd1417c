"""Papers: the householder's month, the winter check and the hand-over review, as HTML, PDF and JSON."""

from dashboards.day_rows import day_rows
from dashboards.papers.pdf import NoBrowser
from dashboards.papers.write import paper_html, paper_pdf, write

__all__ = ["NoBrowser", "day_rows", "paper_html", "paper_pdf", "write"]
