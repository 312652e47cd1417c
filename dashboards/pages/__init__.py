"""Every page as a function: results, facts and the plant's description in, HTML out."""

from fieldfare.collector.csv.column_mapping import AGREED, points_toml, propose
from fieldfare.dashboards.pages.account import (
    account_page,
    codes_page,
    confirm_page,
    go_on_page,
    leave_page,
    new_app_page,
    new_passkey_page,
    second_step_page,
)
from fieldfare.dashboards.pages.asking import learning_page, what_if_page
from fieldfare.dashboards.pages.first_run import (
    first_run_page,
    progress_page,
    readings_page,
    site_form_page,
)
from fieldfare.dashboards.pages.fleet import fleet_page, visits_page
from fieldfare.dashboards.pages.home import home_page
from fieldfare.dashboards.pages.jobs import handle_again_page, job_page, job_values
from fieldfare.dashboards.pages.plain import (
    invited_page,
    message_page,
    sign_in_page,
    welcome_page,
)
from fieldfare.dashboards.pages.site import (
    FIGURES,
    figure_json,
    site_page,
    uses_json,
)
from fieldfare.dashboards.pages.winter import (
    points_left,
    winter_entry,
    winter_list_page,
    winter_page,
)
from fieldfare.dashboards.site_form import site_toml
from fieldfare.dashboards.text.handling import form_values

__all__ = [
    "AGREED",
    "FIGURES",
    "account_page",
    "codes_page",
    "confirm_page",
    "figure_json",
    "first_run_page",
    "fleet_page",
    "form_values",
    "go_on_page",
    "handle_again_page",
    "home_page",
    "invited_page",
    "job_page",
    "job_values",
    "learning_page",
    "leave_page",
    "message_page",
    "new_app_page",
    "new_passkey_page",
    "points_left",
    "points_toml",
    "progress_page",
    "propose",
    "readings_page",
    "second_step_page",
    "sign_in_page",
    "site_form_page",
    "site_page",
    "site_toml",
    "uses_json",
    "visits_page",
    "welcome_page",
    "what_if_page",
    "winter_entry",
    "winter_list_page",
    "winter_page",
]
