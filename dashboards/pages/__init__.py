"""Every page as a function: results, facts and the plant's description in, HTML out."""

from dashboards.pages.fleet import fleet_page, visits_page
from dashboards.pages.plain import message_page, sign_in_page, welcome_page
from dashboards.pages.site import FIGURES, figure_json, site_page

__all__ = [
    "FIGURES", "figure_json", "fleet_page", "message_page", "sign_in_page", "site_page", "visits_page", "welcome_page",
]  # fmt: skip
