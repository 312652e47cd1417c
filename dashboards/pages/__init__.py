"""Pages as functions from results, facts and site to HTML."""

from fieldfare.dashboards.figures.expectations.index import MODELS as EXPECTATIONS
from fieldfare.dashboards.fleet.choice import address_of, asked_of
from fieldfare.dashboards.fleet.winter import winter_entry
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
from fieldfare.dashboards.pages.advice import advice_page, cold_snap_page
from fieldfare.dashboards.pages.answers import answer_page
from fieldfare.dashboards.pages.checks import check_page, field_page, lists_page
from fieldfare.dashboards.pages.chosen import chosen_entries, chosen_page, homes_report
from fieldfare.dashboards.pages.compare import compare_page
from fieldfare.dashboards.pages.defect import defect_page
from fieldfare.dashboards.pages.design_feedback import design_feedback_page
from fieldfare.dashboards.pages.expectations import expectation_json, expectations_page
from fieldfare.dashboards.pages.figures import figures_page, numbers_page
from fieldfare.dashboards.pages.first_run import (
    first_run_page,
    progress_page,
    readings_page,
    site_form_page,
)
from fieldfare.dashboards.pages.fleet import fleet_list_page, fleet_page
from fieldfare.dashboards.pages.handbook import handbook_entry_page, handbook_page
from fieldfare.dashboards.pages.home import home_page
from fieldfare.dashboards.pages.jobs import handle_again_page, job_page, job_values
from fieldfare.dashboards.pages.live import live_page
from fieldfare.dashboards.pages.plain import (
    GIVE_BOTH,
    ended_invitation_page,
    invited_page,
    message_page,
    sign_in_page,
    welcome_page,
)
from fieldfare.dashboards.pages.season import commissioned_page, tuning_page
from fieldfare.dashboards.pages.settings import (
    firm_page,
    people_page,
    person_page,
    settings_page,
    site_settings_page,
)
from fieldfare.dashboards.pages.site import (
    FIGURES,
    event_json,
    figure_json,
    site_page,
    uses_json,
)
from fieldfare.dashboards.pages.visits import (
    booking_page,
    calendar_page,
    day_page,
    present_visit,
    visits_page,
)
from fieldfare.dashboards.pages.what_if import what_if_page
from fieldfare.dashboards.pages.winter import (
    points_left,
    winter_list_page,
    winter_page,
)
from fieldfare.dashboards.site_form.new import site_toml
from fieldfare.dashboards.text.handling import form_values
from fieldfare.dashboards.text.words import finding_title

__all__ = [
    "EXPECTATIONS",
    "FIGURES",
    "GIVE_BOTH",
    "account_page",
    "address_of",
    "advice_page",
    "answer_page",
    "asked_of",
    "booking_page",
    "calendar_page",
    "check_page",
    "chosen_entries",
    "chosen_page",
    "codes_page",
    "cold_snap_page",
    "commissioned_page",
    "compare_page",
    "confirm_page",
    "day_page",
    "defect_page",
    "design_feedback_page",
    "ended_invitation_page",
    "event_json",
    "expectation_json",
    "expectations_page",
    "field_page",
    "figure_json",
    "figures_page",
    "finding_title",
    "firm_page",
    "first_run_page",
    "fleet_list_page",
    "fleet_page",
    "form_values",
    "go_on_page",
    "handbook_entry_page",
    "handbook_page",
    "handle_again_page",
    "home_page",
    "homes_report",
    "invited_page",
    "job_page",
    "job_values",
    "leave_page",
    "lists_page",
    "live_page",
    "message_page",
    "new_app_page",
    "new_passkey_page",
    "numbers_page",
    "people_page",
    "person_page",
    "points_left",
    "present_visit",
    "progress_page",
    "readings_page",
    "second_step_page",
    "settings_page",
    "sign_in_page",
    "site_form_page",
    "site_page",
    "site_settings_page",
    "site_toml",
    "tuning_page",
    "uses_json",
    "visits_page",
    "welcome_page",
    "what_if_page",
    "winter_entry",
    "winter_list_page",
    "winter_page",
]
