from typing import Any

from django.core.management.base import BaseCommand

from servicedesk.people.models import Firm, User
from servicedesk.setup.demo.people import PASSWORD


class Command(BaseCommand):
    help = "Print the sign-ins of the demo firm, one a line: role, email, password."

    def handle(self, *_args: Any, **_options: Any) -> None:
        if not Firm.objects.exists():
            self.stdout.write("There is no firm yet.")
            return
        people = [user for user in User.objects.filter(is_active=True).order_by("pk") if user.check_password(PASSWORD)]
        for user in people:
            roles = ", ".join(role.replace("_", " ") for role in user.roles)
            self.stdout.write(f"{roles:14}  {user.email:26}  {PASSWORD}")
        if not people:
            self.stdout.write("This firm has no demo sign-ins.")
