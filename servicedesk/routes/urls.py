from datetime import date

from django.urls import path, register_converter

from servicedesk.routes.views import plan, round, week


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
    path("week/<int:year>/<int:number>/lock/", plan.lock, name="week-lock"),
    path("week/<int:year>/<int:number>/publish/", plan.publish, name="week-publish"),
    path("round/", round.my_round, name="my-round"),
    path("round/<isodate:day>/", round.my_round, name="my-round-day"),
    path("round/<isodate:day>/<int:technician>/", round.my_round, name="round"),
    path("round/<isodate:day>/<int:technician>/sheet/", round.sheet, name="round-sheet"),
    path("round/<isodate:day>/<int:technician>/sheet.pdf", round.sheet_pdf, name="round-sheet-pdf"),
    path("round/<isodate:day>/codes/<int:code>/", round.code, name="round-code"),
]
