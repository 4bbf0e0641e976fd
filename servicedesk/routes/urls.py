from datetime import date

from django.urls import path, register_converter

from servicedesk.routes.views import (
    cadence,
    costs,
    feeds,
    helping,
    hours,
    live,
    night,
    plan,
    proposal,
    replan,
    round,
    swap,
    travel,
    urgent,
    versions,
    week,
    why,
)


class IsoDateConverter:
    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date | str) -> str:
        return value if isinstance(value, str) else value.isoformat()


register_converter(IsoDateConverter, "isodate")

app_name = "routes"
urlpatterns = [
    path("week/", week.week_current, name="week-current"),
    path("week/<int:year>/<int:number>/", week.week, name="week"),
    path("week/<int:year>/<int:number>/board/", week.board, name="week-board"),
    path("week/<int:year>/<int:number>/round/<int:technician>/<isodate:day>/", week.week_round, name="week-round"),
    path("week/<int:year>/<int:number>/plan/", plan.plan, name="week-plan"),
    path("week/<int:year>/<int:number>/progress/", plan.progress, name="week-progress"),
    path("week/<int:year>/<int:number>/stop/", plan.stop, name="week-stop"),
    path("week/<int:year>/<int:number>/move/<uuid:visit>/", plan.move, name="week-move"),
    path("week/<int:year>/<int:number>/help/<uuid:visit>/", helping.help_at, name="week-help"),
    path("week/<int:year>/<int:number>/lock/", plan.lock, name="week-lock"),
    path("week/<int:year>/<int:number>/publish/", plan.publish, name="week-publish"),
    path("week/<int:year>/<int:number>/pulse/", versions.pulse, name="week-pulse"),
    path("week/<int:year>/<int:number>/undo/", versions.undo, name="week-undo"),
    path("week/<int:year>/<int:number>/states/", versions.versions, name="week-versions"),
    path("week/<int:year>/<int:number>/restore/", versions.restore, name="week-restore"),
    path("week/<int:year>/<int:number>/swap/<int:technician>/<isodate:day>/", swap.swap, name="week-swap"),
    path("week/<int:year>/<int:number>/night/<int:technician>/<isodate:day>/", night.night, name="week-night"),
    path("week/<int:year>/<int:number>/proposal/", proposal.proposal, name="week-proposal"),
    path("week/<int:year>/<int:number>/replan/", replan.replan, name="week-replan"),
    path("week/<int:year>/<int:number>/back/", replan.back, name="week-back"),
    path("week/<int:year>/<int:number>/why/<uuid:visit>/", why.why, name="week-why"),
    path("week/told/<uuid:proposal_notice>/", proposal.proposal_notice, name="proposal-notice"),
    path("week/watch/", live.watch, name="watch"),
    path("week/late/", live.late_page, name="late"),
    path("week/late/<isodate:day>/<int:technician>/remedy/", live.remedy, name="late-remedy"),
    path("week/late/visits/<uuid:visit>/hour/", live.hour, name="late-hour"),
    path("week/changes/<uuid:change>/take-back/", live.take_back, name="change-take-back"),
    path("week/cadence/", cadence.cadence, name="cadence"),
    path("week/cadence/look/", cadence.look, name="cadence-look"),
    path("week/cadence/progress/", cadence.progress, name="cadence-progress"),
    path("week/cadence/<int:proposal>/", cadence.decide, name="cadence-decide"),
    path("settings/travel/times/", travel.settings, name="travel-settings"),
    path("settings/travel/times/read/", travel.fill, name="travel-fill"),
    path("settings/travel/times/state/", travel.fill_state, name="travel-fill-state"),
    path("settings/travel/times/import/", travel.import_drives, name="travel-import"),
    path("settings/travel/times/forget/", travel.forget_imported, name="travel-forget"),
    path("week/urgent/", urgent.search, name="urgent"),
    path("week/urgent/<int:site>/", urgent.site, name="urgent-site"),
    path("week/urgent/call/<uuid:visit>/", urgent.call, name="urgent-call"),
    path("week/urgent/call/<uuid:visit>/withdraw/", urgent.withdraw, name="urgent-withdraw"),
    path("week/urgent/notices/<uuid:notice>/", urgent.notice, name="urgent-notice"),
    path("week/costs/", costs.costs, name="costs"),
    path("week/costs/prospect/", costs.prospect, name="prospect"),
    path("settings/people/hours/", hours.people, name="hours"),
    path("settings/people/hours/hours.csv", hours.people_csv, name="hours-csv"),
    path("settings/people/hours/<int:technician>/", hours.person, name="timesheet"),
    path("settings/people/hours/<int:technician>/sheet.csv", hours.person_csv, name="timesheet-csv"),
    path("settings/people/hours/<int:technician>/sheet.pdf", hours.person_pdf, name="timesheet-pdf"),
    path("settings/people/hours/<int:technician>/entries/", hours.entry_add, name="hours-entry-add"),
    path("settings/people/hours/<int:technician>/<uuid:entry>/off/", hours.entry_take_off, name="hours-entry-off"),
    path("settings/people/hours/<int:technician>/rules/", hours.rule_set, name="pay-rule-set"),
    path("round/", round.my_round, name="my-round"),
    path("round/changes/<uuid:change>/", live.change_answer, name="change-answer"),
    path("round/calendar/", feeds.calendar, name="calendar"),
    path("round/calendar/new/", feeds.calendar_make, name="calendar-make"),
    path("round/calendar/<int:technician>/", feeds.calendar, name="calendar-of"),
    path("round/calendar/<int:technician>/revoke/", feeds.calendar_revoke, name="calendar-revoke"),
    path("feeds/<str:token>.ics", feeds.feed, name="feed"),
    path("round/<isodate:day>/", round.my_round, name="my-round-day"),
    path("round/<isodate:day>/<int:technician>/", round.my_round, name="round"),
    path("round/<isodate:day>/<int:technician>/sheet/", round.sheet, name="round-sheet"),
    path("round/<isodate:day>/<int:technician>/sheet.pdf", round.sheet_pdf, name="round-sheet-pdf"),
    path("round/<isodate:day>/<int:technician>/live/", live.round_live, name="round-live"),
    path("round/<isodate:day>/<int:technician>/round.gpx", feeds.gpx, name="round-gpx"),
    path("round/<isodate:day>/<int:technician>/round.geojson", feeds.geojson, name="round-geojson"),
    path("round/<isodate:day>/codes/<int:code>/", round.code, name="round-code"),
]
