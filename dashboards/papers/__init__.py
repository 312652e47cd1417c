"""Papers: monthly report, winter check and hand-over review, as HTML, PDF and JSON."""

from fieldfare.dashboards.papers.pdf import NoPdf
from fieldfare.dashboards.papers.write import paper_html, paper_pdf, write
from fieldfare.dashboards.rows.days import day_rows

__all__ = ["NoPdf", "day_rows", "paper_html", "paper_pdf", "write"]
